#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/registry/cohort.h"
#include "tidemark/registry/criteria_share.h"
#include "tidemark/registry/lucency_map.h"
#include "tidemark/registry/migration_course.h"
#include "tidemark/registry/precision_study.h"
#include "tidemark/registry/reader_agreement.h"

namespace tidemark::registry {

/// All statistics of a cohort. What cannot be told stays in, with its reason.
struct CohortStudy {
  Cohort cohort;
  std::vector<CourseAtVisit> course;
  std::vector<std::pair<Quantity, Expected<CourseModel>>> models;
  std::vector<CriterionShare> shares;
  std::vector<CriterionSurvival> survival;
  std::vector<ZoneIncidence> lucency;
  std::vector<std::pair<Quantity, Expected<PrecisionStudy>>> precision;
  std::optional<ReaderAgreement> agreement;
  std::vector<std::string> cautions;  ///< sentences, to be read with all of it
  std::string tool_version;
};

/// Computes everything. A pure function of its input.
/// @param readings another reader's, empty for none
[[nodiscard]] CohortStudy study(Cohort cohort, const std::vector<Reading>& readings,
                                std::string tool_version);

/// A cell; monostate is absent (never zero).
using Cell = std::variant<std::monostate, std::string, double, std::int64_t>;

struct StudyColumn {
  std::string name;
  std::string unit;  ///< may be empty
  std::string meaning;
};

/// One table of the study: a CSV file, a list in the JSON, an entry of the data dictionary.
struct StudyTable {
  std::string name;
  std::string meaning;
  std::vector<StudyColumn> columns;
  std::vector<std::vector<Cell>> rows;
};

/// All tables, empty ones too.
[[nodiscard]] std::vector<StudyTable> tables_of(const CohortStudy& study);

/// A figure for print: shades of grey only.
struct Figure {
  std::string name;     ///< of its file, without suffix
  std::string title;    ///< for readers of the screen too
  std::string caption;  ///< what is drawn, and what to beware of
  std::string svg;
};

[[nodiscard]] std::vector<Figure> figures_of(const CohortStudy& study);

/// The page: self-contained HTML.
[[nodiscard]] std::string page_of(const CohortStudy& study, const std::vector<Figure>& figures);

/// Writes NAME.csv for each table, figures/NAME.svg, dictionary.json, cohort.html and, last,
/// cohort.json into `folder`, which is made when it is missing. An older cohort.json is removed
/// first: if it is there, all is there; so are its figures and the page. Files of such names
/// without our cohort.json are left alone, with an error. (docs/cohort.md)
/// @return kNotWritable
[[nodiscard]] Expected<void> write_study(const CohortStudy& study,
                                         const std::filesystem::path& folder);

}  // namespace tidemark::registry
