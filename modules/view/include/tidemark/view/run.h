#pragma once

namespace tidemark::view {

/// The program tidemark-review: reads its arguments, shows the window, and returns when it is
/// closed.
/// @return exit code as docs/cli.md: 0, 2 for wrong usage, 70 for a fault of the program
[[nodiscard]] int run(int argc, char** argv);

}  // namespace tidemark::view
