#pragma once

/// `tidemark phantom`: simulated hips with their truth. argv[0] is the command's own name.
/// @return exit code of docs/design.md: 0 done, 2 wrong usage, 3 input unusable, 4 not writable.
int run_phantom(int argc, char** argv);
