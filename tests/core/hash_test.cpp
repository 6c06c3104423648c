#include "tidemark/core/hash.h"

#include <gtest/gtest.h>

#include <string>
#include <string_view>

namespace tidemark {
namespace {

std::string hex_of(std::string_view text) { return sha256_hex(std::as_bytes(std::span(text))); }

struct HashRow {
  std::string name;
  std::string text;
  std::string sha256;
  std::string source;

  friend void PrintTo(const HashRow& row, std::ostream* os) { *os << row.source; }
};

class HashTable : public testing::TestWithParam<HashRow> {};

TEST_P(HashTable, MatchesSource) { EXPECT_EQ(hex_of(GetParam().text), GetParam().sha256); }

// The digests are those of the published examples (digits from memory) and were checked a second
// time with the sha256sum of GNU coreutils.
INSTANTIATE_TEST_SUITE_P(
    Sources, HashTable,
    testing::Values(HashRow{"OneBlock", "abc",
                            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
                            "FIPS 180-2, appendix B.1"},
                    HashRow{"TwoBlocks", "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
                            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
                            "FIPS 180-2, appendix B.2"},
                    HashRow{"LongMessage", std::string(1'000'000, 'a'),
                            "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0",
                            "FIPS 180-2, appendix B.3"},
                    HashRow{"Empty", "",
                            "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
                            "NIST CAVP, SHA256ShortMsg, Len = 0"}),
    [](const auto& row) { return row.param.name; });

}  // namespace
}  // namespace tidemark
