#include "keep_memory.h"

#include <cstdlib>

#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace tidemark::view {

void keep_memory_of_films() {
#ifdef __GLIBC__
  mallopt(M_ARENA_MAX, 1);
  mallopt(M_MMAP_THRESHOLD, 32 << 20);   // the most that glibc takes
  mallopt(M_TRIM_THRESHOLD, 512 << 20);  // what stays the window's own
#endif
}

}  // namespace tidemark::view
