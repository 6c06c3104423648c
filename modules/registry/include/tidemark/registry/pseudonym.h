#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "tidemark/core/expected.h"

namespace tidemark::registry {

/// The key that turns identities into names that mean nothing without it. The user keeps it.
struct PseudonymKey {
  std::string bytes;
};

/// Reads a key: the bytes of the file without line ends at its end.
/// @return kBadInput when the file is missing or holds fewer than 16 bytes.
[[nodiscard]] Expected<PseudonymKey> read_key(const std::filesystem::path& file);

/// `prefix` and 16 hexadecimal digits: the first 64 bits of HMAC-SHA-256 (RFC 2104, FIPS 198-1) of
/// `kind`, a line end and `identity`. The same key and identity give the same name anywhere; among
/// 100,000 hips two meet with a probability below 1 in 3 x 10^9 (birthday bound).
[[nodiscard]] std::string pseudonym(const PseudonymKey& key, std::string_view prefix,
                                    std::string_view kind, std::string_view identity);

/// HMAC-SHA-256 as 64 hexadecimal digits.
[[nodiscard]] std::string hmac_sha256_hex(std::string_view key, std::string_view message);

}  // namespace tidemark::registry
