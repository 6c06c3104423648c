#include "../../modules/archive/src/identity.h"

#include <gtest/gtest.h>

namespace tidemark::archive {
namespace {

// Source: Python's uuid, '2.25.' +
// str(uuid.uuid5(uuid.UUID('21bb8313-0600-4eb0-8e10-200d4eb0f84e'), text).int), an independent
// implementation of RFC 4122.
TEST(UidOf, AgreesWithAnotherImplementation) {
  EXPECT_EQ(uid_of("a"), "2.25.332525034441487583787263354456067713450");
  EXPECT_EQ(uid_of("series 1.2.3 report 0.1.0"), "2.25.40186523424138371068953128288527911643");
}

TEST(UidOf, IsAUid) {
  // PS3.5, 9.1: at most 64 characters, components without leading zeros.
  for (int i = 0; i < 200; ++i) {
    const std::string uid = uid_of(std::to_string(i));
    EXPECT_LE(uid.size(), 44U);
    EXPECT_EQ(uid.rfind("2.25.", 0), 0U);
    EXPECT_NE(uid[5], '0');
  }
}

}  // namespace
}  // namespace tidemark::archive
