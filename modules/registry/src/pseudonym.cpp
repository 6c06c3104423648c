#include "tidemark/registry/pseudonym.h"

#include <openssl/evp.h>
#include <openssl/hmac.h>

#include <array>
#include <stdexcept>

#include "tidemark/core/files.h"

namespace tidemark::registry {
namespace {

constexpr std::size_t kLeastKeyBytes = 16;
constexpr std::size_t kMostKeyBytes = 4096;
constexpr std::size_t kNameDigits = 16;

}  // namespace

Expected<PseudonymKey> read_key(const std::filesystem::path& file) {
  auto read = read_text(file, kMostKeyBytes);
  if (!read) return tl::unexpected(read.error());
  std::string text = std::move(*read);
  while (!text.empty() && (text.back() == '\n' || text.back() == '\r')) text.pop_back();
  if (text.size() < kLeastKeyBytes) {
    return fail(ErrorKind::kBadInput, file.filename().string(),
                "a key of fewer than 16 bytes can be guessed",
                "make one: head -c 32 /dev/urandom | base64 > FILE");
  }
  return PseudonymKey{std::move(text)};
}

std::string hmac_sha256_hex(std::string_view key, std::string_view message) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int length = 0;
  const auto* bytes = reinterpret_cast<const unsigned char*>(message.data());
  if (HMAC(EVP_sha256(), key.data(), static_cast<int>(key.size()), bytes, message.size(),
           digest.data(), &length) == nullptr) {
    throw std::runtime_error("HMAC is not available in the installed OpenSSL");
  }
  constexpr std::string_view kDigits = "0123456789abcdef";
  std::string hex;
  for (unsigned int i = 0; i < length; ++i) {
    hex += kDigits[digest.at(i) >> 4U];
    hex += kDigits[digest.at(i) & 0x0FU];
  }
  return hex;
}

std::string pseudonym(const PseudonymKey& key, std::string_view prefix, std::string_view kind,
                      std::string_view identity) {
  const std::string message = std::string(kind) + "\n" + std::string(identity);
  return std::string(prefix) + hmac_sha256_hex(key.bytes, message).substr(0, kNameDigits);
}

}  // namespace tidemark::registry
