#pragma once

#include <array>
#include <cstddef>
#include <string>
#include <vector>

#include "tidemark/followup/result.h"

namespace tidemark::followup {

enum class Align { kLeft, kRight };

/// Text filled with spaces to a number of columns of the terminal.
[[nodiscard]] std::string padded(const std::string& text, std::size_t width, Align align);

/// One line of a table, cell by cell.
using TableLine = std::array<std::string, 6>;
/// The lines with their columns below each other, the first one to the left.
[[nodiscard]] std::string lines_of(const std::vector<TableLine>& lines);

/// The lines of all films zone by zone, one line of text each; empty when none were looked for.
[[nodiscard]] std::string zones_table(const Result& result);
/// Focal loss of bone, one line a comparison; empty when it was not looked for.
[[nodiscard]] std::string lysis_lines(const Result& result);
/// What one film says of one interface of one zone, one line of text.
[[nodiscard]] std::string zone_line(const FilmResult& film, const ZoneResult& zone,
                                    const Result& result);

/// Signs of the last film that tells any, and what they would fit. Needs Result::assessment.
[[nodiscard]] std::string sign_lines(const Result& result);
/// What a lateral film says of the stem's depth and lean, one line of text without its end.
[[nodiscard]] std::string side_view_text(const migration::SideView& view, const Lengths& lengths);
/// The lateral films, one line each; empty when there are none.
[[nodiscard]] std::string side_film_lines(const Result& result);
/// How the stem was seated, one line an item; empty when it was not audited.
[[nodiscard]] std::string seat_table(const Result& result);

}  // namespace tidemark::followup
