#pragma once

namespace tidemark {

/// Has the C library keep what films leave behind, up to half a GiB, in large pages where the
/// system has them. Films come and go by buffers of some 20 MB; left to itself the library hands
/// each back to the system and takes it anew, page by page, which costs a sixth of the time of a
/// correction or of a whole measurement; pages of 4 KiB cost a seventh more. For a program's start;
/// does nothing where the library is not glibc.
void keep_freed_memory();

}  // namespace tidemark
