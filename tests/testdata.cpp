#include "testdata.h"

namespace tidemark::test {

std::filesystem::path testdata() { return TIDEMARK_TESTDATA; }

}  // namespace tidemark::test
