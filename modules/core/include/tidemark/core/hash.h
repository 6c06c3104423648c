#pragma once

#include <cstddef>
#include <span>
#include <string>
#include <string_view>

namespace tidemark {

/// SHA-256 of some bytes (FIPS 180-4) as 64 lower-case hexadecimal digits. Names a file's content
/// in a result; it is no secret and hides nothing that can be guessed.
///
/// Throws std::runtime_error when the cryptographic library refuses the digest, which only a broken
/// installation does.
[[nodiscard]] std::string sha256_hex(std::span<const std::byte> bytes);
/// The same of the bytes of a text.
[[nodiscard]] std::string sha256_hex(std::string_view text);

}  // namespace tidemark
