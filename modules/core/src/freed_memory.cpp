#include "tidemark/core/freed_memory.h"

#include <cstdlib>  // tells whether the library is glibc

#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace tidemark {

void keep_freed_memory() {
#ifdef __GLIBC__
  mallopt(M_ARENA_MAX, 1);              // what one thread freed serves the next
  mallopt(M_MMAP_THRESHOLD, 32 << 20);  // the most that glibc takes
  mallopt(M_TRIM_THRESHOLD, 512 << 20);
#endif
}

}  // namespace tidemark
