#include "base64.h"

#include <openssl/evp.h>

#include <charconv>
#include <vector>

#include "tidemark/core/hash.h"

namespace tidemark::report {

std::string base64_of(std::span<const std::byte> bytes) {
  std::string out(4 * ((bytes.size() + 2) / 3) + 1, '\0');  // the library ends it with a zero
  const int length = EVP_EncodeBlock(reinterpret_cast<unsigned char*>(out.data()),
                                     reinterpret_cast<const unsigned char*>(bytes.data()),
                                     static_cast<int>(bytes.size()));
  out.resize(static_cast<std::size_t>(length));
  return out;
}

std::string script_digest(std::string_view script) {
  const std::string hex = sha256_hex(script);
  std::vector<std::byte> digest;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
    unsigned value = 0;
    (void)std::from_chars(hex.data() + i, hex.data() + i + 2, value, 16);
    digest.push_back(static_cast<std::byte>(value));
  }
  return base64_of(digest);
}

}  // namespace tidemark::report
