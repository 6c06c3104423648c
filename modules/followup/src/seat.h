#pragma once

#include <optional>
#include <string>

#include "working.h"

namespace tidemark::followup {

/// The audit of the seat on the reference film, held against the sheet's plan; absent when that
/// film was not measured or its canal was not read.
[[nodiscard]] std::optional<SeatResult> audited_seat(const WorkingSeries& work);

/// The picture of the audit; nothing when drawing fails.
[[nodiscard]] std::optional<Picture> draw_seat(const std::string& name, const HipFilm& film,
                                               const FilmResult& result, const SeatResult& seat);

}  // namespace tidemark::followup
