#pragma once

#include <filesystem>

namespace tidemark::test {

/// The folder testdata/ of the source tree. Its path is compiled into one object only, so that
/// those of the tests are the same in every checkout and a compiler cache serves them all.
[[nodiscard]] std::filesystem::path testdata();

}  // namespace tidemark::test
