#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/plan.h"

namespace tidemark::registry {

/// One row of a sheet: the hip it belongs to and, if there is one, its film.
struct SheetRow {
  std::size_t line = 0;
  HipFacts facts;          ///< `hip` may be empty in a sheet for a heap
  std::string patient_id;  ///< identity: keyed or compared, never kept
  std::filesystem::path folder;
  FilmSource film;    ///< without a path: none
  std::string fault;  ///< sentence; empty when the row can be used
};

/// A CSV sheet of hips or films (docs/registry.md).
struct Sheet {
  std::vector<SheetRow> rows;
  std::vector<std::string> notes;
};

/// Reads a sheet. A cell that cannot be read is the fault of its row; cells are never quoted in
/// messages, because a shifted column may hold a name.
/// @param films where relative paths begin
/// @return kBadInput: the file cannot be read, no CSV, or a column that nearly is a known one.
[[nodiscard]] Expected<Sheet> read_sheet(const std::filesystem::path& file,
                                         const std::filesystem::path& films);

/// The rows of one hip as a job. Facts that contradict each other are a fault.
[[nodiscard]] HipJob job_of_rows(const std::vector<const SheetRow*>& rows);

}  // namespace tidemark::registry
