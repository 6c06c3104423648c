#include "tidemark/core/hash.h"

#include <openssl/evp.h>

#include <array>
#include <stdexcept>

namespace tidemark {

std::string sha256_hex(std::span<const std::byte> bytes) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int length = 0;
  if (EVP_Digest(bytes.data(), bytes.size(), digest.data(), &length, EVP_sha256(), nullptr) != 1) {
    throw std::runtime_error("SHA-256 is not available in the installed OpenSSL");
  }
  constexpr std::array kDigits{'0', '1', '2', '3', '4', '5', '6', '7',
                               '8', '9', 'a', 'b', 'c', 'd', 'e', 'f'};
  std::string hex;
  hex.reserve(std::size_t{2} * length);
  for (const unsigned char byte : std::span(digest).first(length)) {
    hex += kDigits.at(byte >> 4U);
    hex += kDigits.at(byte & 0x0FU);
  }
  return hex;
}

std::string sha256_hex(std::string_view text) { return sha256_hex(std::as_bytes(std::span(text))); }

}  // namespace tidemark
