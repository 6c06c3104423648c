#pragma once

#include <algorithm>

#include "tidemark/core/parallel.h"

namespace tidemark::phantom {

/// Calls work(i) once for each i in [0, count) on up to `threads` threads (core/parallel.h, for the
/// int indices of images).
template <class Work>
void for_each_index(int count, unsigned threads, const Work& work) {
  tidemark::parallel_for(static_cast<std::size_t>(std::max(0, count)), static_cast<int>(threads),
                         [&](std::size_t i) { work(static_cast<int>(i)); });
}

}  // namespace tidemark::phantom
