#include "tidemark/core/freed_memory.h"

#include <cstdlib>  // tells whether the library is glibc

#ifdef __GLIBC__
#include <malloc.h>
#include <sys/mman.h>
#include <unistd.h>

#include <cstddef>
#include <cstdint>
#endif

namespace tidemark {
namespace {

#ifdef __GLIBC__
/// What three films need at once; address space alone until it is written to.
constexpr int kHeapBytes = 384 << 20;

/// Grows the heap by kHeapBytes and asks for large pages there. Where the system gives none, or no
/// such heap (address sanitizer), all stays as it was.
void ask_for_large_pages() {
  auto* before = static_cast<char*>(sbrk(0));
  mallopt(M_TOP_PAD, kHeapBytes);
  void* volatile grown = std::malloc(1 << 20);  // volatile: else the compiler leaves both calls out
  std::free(grown);
  mallopt(M_TOP_PAD, 1 << 20);
  const auto* after = static_cast<char*>(sbrk(0));
  const auto page = static_cast<std::uintptr_t>(sysconf(_SC_PAGESIZE));
  char* from = before + (page - reinterpret_cast<std::uintptr_t>(before) % page) % page;
  if (after > from) madvise(from, static_cast<std::size_t>(after - from), MADV_HUGEPAGE);
}
#endif

}  // namespace

void keep_freed_memory() {
#ifdef __GLIBC__
  mallopt(M_ARENA_MAX, 1);              // what one thread freed serves the next
  mallopt(M_MMAP_THRESHOLD, 32 << 20);  // the most that glibc takes
  mallopt(M_TRIM_THRESHOLD, 512 << 20);
  ask_for_large_pages();
#endif
}

}  // namespace tidemark
