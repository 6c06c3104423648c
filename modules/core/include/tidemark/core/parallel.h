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
/// When calls throw, no new ones are begun, those under way end, and the exception of the lowest
/// index is thrown again: the same one on any number of threads. Do not nest: films in parallel,
/// each film on one thread (house choice).
void parallel_for(std::size_t n, int threads, const std::function<void(std::size_t)>& fn);

/// Number of threads the machine offers, at least 1.
[[nodiscard]] int hardware_threads();

}  // namespace tidemark
