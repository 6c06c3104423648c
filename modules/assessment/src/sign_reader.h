#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "tidemark/assessment/signs.h"

namespace tidemark::assessment {

/// A decision table as one file has it, without a look at the built-in ones.
struct TableAlone {
  SignTable table;
  std::optional<std::string> extends;
  std::vector<std::pair<std::string, std::string>> choose;  ///< switch, choice
};

/// Reads the file's own words; that the rules fit together is checked on the whole table.
[[nodiscard]] Expected<TableAlone> read_table_alone(std::string_view text, const std::string& name);

/// What does not fit together in a whole table: a rule that asks for a sign that does not stand
/// before it, for a switch or choice that there is not, a sign without points in a score.
[[nodiscard]] std::optional<Error> fault_of(const SignTable& table, const std::string& name);

}  // namespace tidemark::assessment
