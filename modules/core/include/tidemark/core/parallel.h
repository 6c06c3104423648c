#pragma once

#include <cstddef>
#include <functional>

namespace tidemark {

/// Calls fn(0) ... fn(n - 1), each once, on up to `threads` threads (values below 1 count as 1; the
/// caller's own thread is one of them). Returns when all calls are done.
///
/// The result does not depend on the number of threads as long as fn(i) writes to the i-th place of
/// a vector made beforehand and reads nothing that another call writes. Sum up afterwards, in
/// order.
///
/// When calls throw, the exception of the lowest index is thrown again: the same one on any number
/// of threads. Whether indices above it were called is not said. Films go in parallel by this one;
/// work within a film by parallel_within.
void parallel_for(std::size_t n, int threads, const std::function<void(std::size_t)>& fn);

/// parallel_for within a call of parallel_for: on those of its threads that have nothing to do, so
/// that three films keep two threads busy. Outside of any, on the caller's thread alone. A call
/// that waits for its own pieces never begins an outer one.
void parallel_within(std::size_t n, const std::function<void(std::size_t)>& fn);

/// Number of threads the machine offers, at least 1.
[[nodiscard]] int hardware_threads();

}  // namespace tidemark
