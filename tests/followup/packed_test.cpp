#include "../../modules/followup/src/packed.h"

#include <gtest/gtest.h>

#include "../../modules/followup/src/packed_fields.h"
#include "followup/invented.h"

namespace tidemark::followup::packed {
namespace {

template <class T>
std::string bytes_of(const T& value) {
  Packer pack;
  pack(value);
  return pack.take();
}

/// Packed, read back and packed again: equal bytes mean equal values, bit by bit.
template <class T>
void expect_comes_back(const T& value) {
  const std::string bytes = bytes_of(value);
  T back;
  Unpacker unpack(bytes);
  unpack(back);
  EXPECT_TRUE(unpack.done());
  EXPECT_EQ(bytes_of(back), bytes);
}

TEST(Packed, ValuesComeBackToTheBit) {
  double back = 0.0;
  const std::string bytes = bytes_of(0.1 + 0.2);
  Unpacker unpack(bytes);
  unpack(back);
  EXPECT_EQ(back, 0.1 + 0.2);
  expect_comes_back(std::string("a\0b", 3));
  expect_comes_back(std::optional<double>{});
  expect_comes_back(std::vector<Flag>{{"id", "text"}, {"", ""}});
  expect_comes_back(invented::implant());
  expect_comes_back(invented::femur());
  expect_comes_back(invented::migration());
  expect_comes_back(invented::lines("late.dcm").value());
}

TEST(Packed, MasksOfAllSortsComeBack) {
  Mask mask(13, 7);
  for (std::size_t i = 0; i < mask.values.size(); ++i) {
    mask.values[i] = static_cast<std::uint8_t>(i % 5 == 0 || (i > 20 && i < 60) ? 255 : i / 80);
  }
  Mask back;
  const std::string bytes = bytes_of(mask);
  Unpacker unpack(bytes);
  unpack(back);
  EXPECT_TRUE(unpack.done());
  EXPECT_EQ(back.width, 13);
  EXPECT_EQ(back.values, mask.values);
  expect_comes_back(Mask());
  // A run a row long, and one over all: few bytes.
  EXPECT_LT(bytes_of(Mask(4000, 4000, 1)).size(), 20U);
}

TEST(Packed, EveryCutIsNoticed) {
  const std::string bytes = bytes_of(invented::implant());
  for (std::size_t size = 0; size < bytes.size(); ++size) {
    anatomy::Implant back;
    Unpacker unpack(std::string_view(bytes).substr(0, size));
    unpack(back);
    EXPECT_FALSE(unpack.good()) << size;
  }
}

TEST(Packed, ImpossibleLengthsAllocateNothing) {
  const std::string bytes = bytes_of(std::uint64_t{1} << 60U);
  std::vector<double> many;
  Unpacker list(bytes);
  list(many);
  EXPECT_FALSE(list.good());
  EXPECT_TRUE(many.empty());
  Packer pack;
  pack(1 << 30);
  pack(1 << 30);
  const std::string huge = pack.take();
  Mask mask;
  Unpacker film(huge);
  film(mask);
  EXPECT_FALSE(film.good());
  EXPECT_TRUE(mask.empty());
}

}  // namespace
}  // namespace tidemark::followup::packed
