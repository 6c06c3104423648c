#pragma once

#include <string>

namespace tidemark::app {

/// Names this program to the bit: version, and a digest of the build identifiers of the program and
/// of every library it runs with (NT_GNU_BUILD_ID notes; ELF gABI, "Note Section"). Two runs with
/// the same name compute the same numbers on machines of one kind.
[[nodiscard]] std::string program_id();

}  // namespace tidemark::app
