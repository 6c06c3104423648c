#pragma once

#include <string>
#include <vector>

#include "tidemark/assessment/sign_rule.h"
#include "tidemark/core/json_reader.h"

namespace tidemark::assessment {

/// Reads one rule; faults go to the reader.
/// @param path how faults call its place
[[nodiscard]] Rule read_rule(JsonReader& reader, const JsonReader::Json& node,
                             const std::string& path);

/// Calls `visit` with the rule and every rule within it.
template <class Visit>
void walk(const Rule& rule, const Visit& visit) {
  visit(rule);
  for (const Rule& part : rule.parts) walk(part, visit);
}

}  // namespace tidemark::assessment
