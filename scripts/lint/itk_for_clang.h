// For clang-tidy only (scripts/test, lint): ITK's itk_compiler_detection.h knows no compiler but
// the one that ITK was built with and stops at clang. Clang 14 has every C++ feature that this
// header asks of GCC 12, so it is read here once with GCC's version, before anything else includes
// it.
#pragma once
#if defined(__clang__) && __has_include(<itk_compiler_detection.h>)
#pragma push_macro("__clang__")
#pragma push_macro("__GNUC__")
#undef __clang__
#undef __GNUC__
#define __GNUC__ 12
#include <itk_compiler_detection.h>
#pragma pop_macro("__GNUC__")
#pragma pop_macro("__clang__")
#endif
