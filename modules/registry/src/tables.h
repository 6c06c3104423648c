#pragma once

#include <array>

namespace tidemark::registry {

/// The tables of results that belong to a hip by hip_id, and what orders their rows within it.
struct HipTable {
  const char* name;
  const char* order;
};
inline constexpr std::array kHipTables{
    HipTable{"hip_groups", "name"},
    HipTable{"films", "film"},
    HipTable{"comparisons", "comparison"},
    HipTable{"budget", "comparison, item"},
    HipTable{"zones", "film, zone, interface"},
    HipTable{"zone_marks", "film, zone, interface, mark_reader"},
    HipTable{"zone_changes", "comparison, zone, interface"},
    HipTable{"findings", "comparison, criterion"},
    HipTable{"seat", "quantity"},
    HipTable{"flags", "scope, number, item"},
};

}  // namespace tidemark::registry
