#pragma once

#include <algorithm>
#include <string>
#include <variant>

#include "tidemark/report/document.h"

namespace tidemark::view {

// Parts of what the report says, found by their names.

/// Null: the document has no such section.
[[nodiscard]] inline const report::Section* section_of(const report::Document& document,
                                                       const std::string& id) {
  const auto found = std::find_if(document.sections.begin(), document.sections.end(),
                                  [&](const auto& section) { return section.id == id; });
  return found == document.sections.end() ? nullptr : &*found;
}

/// The first block of a kind; null: there is none, or no section.
template <class Block>
[[nodiscard]] const Block* first_of(const report::Section* section) {
  if (section == nullptr) return nullptr;
  for (const report::Block& block : section->blocks) {
    if (const auto* one = std::get_if<Block>(&block)) return one;
  }
  return nullptr;
}

/// The table of a section with this id; null: it has none.
[[nodiscard]] inline const report::Table* table_of(const report::Section* section,
                                                   const std::string& id) {
  if (section == nullptr) return nullptr;
  for (const report::Block& block : section->blocks) {
    const auto* table = std::get_if<report::Table>(&block);
    if (table != nullptr && table->id == id) return table;
  }
  return nullptr;
}

}  // namespace tidemark::view
