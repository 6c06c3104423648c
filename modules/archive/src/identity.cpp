#include "identity.h"

#include <algorithm>
#include <boost/uuid/name_generator_sha1.hpp>
#include <boost/uuid/string_generator.hpp>
#include <boost/uuid/uuid.hpp>

namespace tidemark::archive {
namespace {

/// Root of all our names; drawn once at random (version 4) and never to change.
constexpr const char* kNamespace = "21bb8313-0600-4eb0-8e10-200d4eb0f84e";

}  // namespace

std::string uid_of(const std::string& text) {
  const boost::uuids::name_generator_sha1 make(boost::uuids::string_generator{}(kNamespace));
  const boost::uuids::uuid uuid = make(text);
  __extension__ using Wide = unsigned __int128;
  Wide number = 0;
  for (const auto byte : uuid) number = (number << 8U) | byte;
  std::string digits;
  for (; number > 0; number /= 10) digits += static_cast<char>('0' + static_cast<int>(number % 10));
  std::reverse(digits.begin(), digits.end());
  return "2.25." + digits;
}

}  // namespace tidemark::archive
