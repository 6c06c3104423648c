#pragma once

namespace tidemark::view {

/// Has the C library keep what films leave behind. They come and go with every correction, some 20
/// MB each; left to itself the library hands each back to the system and takes it anew, page by
/// page, which costs a sixth of a correction's time. For a program's start; does nothing where the
/// library is not glibc.
void keep_memory_of_films();

}  // namespace tidemark::view
