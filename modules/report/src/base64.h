#pragma once

#include <cstddef>
#include <span>
#include <string>

namespace tidemark::report {

/// Base64 without line breaks (RFC 4648, 4).
[[nodiscard]] std::string base64_of(std::span<const std::byte> bytes);

/// SHA-256 of a text in base64, as the policy of a page names its script (Content Security Policy
/// Level 3, 2.3.1).
[[nodiscard]] std::string script_digest(std::string_view script);

}  // namespace tidemark::report
