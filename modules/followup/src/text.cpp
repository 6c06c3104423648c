#include "tidemark/core/text.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "tables.h"
#include "tidemark/core/date.h"
#include "tidemark/core/number_text.h"
#include "tidemark/followup/doubts.h"
#include "tidemark/followup/write.h"

namespace tidemark::followup {
namespace {

/// How many columns a UTF-8 text takes: its code points ("±" is one).
std::size_t width_of(const std::string& text) {
  return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;
  }));
}

template <class Q>
std::string shown(const Measured<Q>& m, double unit) {
  return with_uncertainty(m.value.value / unit, m.u95.value / unit);
}

std::string side_text(const std::optional<Side>& side) {
  return side ? word_of(*side) : "side unknown";
}

/// Flags by film and pair below the table, each once.
std::string flag_lines(const Result& result) {
  std::string out;
  for (const Flag& flag : result.flags) out += "  " + printable(flag.text) + "\n";
  for (const FilmResult& film : result.films) {
    for (const Flag& flag : film.flags)
      out += "  " + printable(film.file) + ": " + printable(flag.text) + "\n";
  }
  for (const ComparisonResult& pair : result.comparisons) {
    for (const Flag& flag : pair.flags) {
      out += "  " + printable(result.films[pair.follow_up].file) +
             " (comparison): " + printable(flag.text) + "\n";
    }
  }
  return out.empty() ? out : "Flags:\n" + out;
}

/// Verdict, its doubt, and the course; what each criterion says stands in result.json.
std::string verdict_lines(const Result& result) {
  if (!result.assessment) return {};
  const auto& assessment = *result.assessment;
  std::string out = "Assessment (" + printable(assessment.criteria.id) + "):\n";
  for (const std::string& text :
       {assessment.headline.sentence, assessment.headline.doubt, assessment.course.text}) {
    if (!text.empty()) out += "  " + printable(text) + "\n";
  }
  out += sign_lines(result);
  for (const std::string& text : assessment.cautions) out += "  " + printable(text) + "\n";
  return out;
}

/// What changed since the last report.
std::string history_lines(const Result& result) {
  if (!result.history) return {};
  const History& history = *result.history;
  std::string out;
  if (history.earlier) {
    out += "Since " + words_of(*history.earlier) + ":\n";
    for (const Change& change : history.changes)
      out += "  " + printable(sentence_of(change)) + "\n";
    if (history.changes.empty()) out += "  Nothing changed.\n";
  }
  if (!history.note.empty()) out += printable(history.note) + "\n";
  if (!history.reused_films.empty() || !history.reused_comparisons.empty()) {
    out += "Taken over from before, not measured anew: " +
           std::to_string(history.reused_films.size()) + " of " +
           std::to_string(result.films.size()) + " films, " +
           std::to_string(history.reused_comparisons.size()) + " of " +
           std::to_string(result.comparisons.size()) + " comparisons.\n";
  }
  return out;
}

std::string refusal_lines(const Result& result) {
  std::string out;
  for (const FilmResult& film : result.films) {
    if (film.status == Status::kNotMeasured)
      out += "  " + printable(film.file) + ": " + printable(film.reason) + "\n";
  }
  for (const ComparisonResult& pair : result.comparisons) {
    const bool films_fine = result.films[pair.reference].status == Status::kMeasured &&
                            result.films[pair.follow_up].status == Status::kMeasured;
    if (pair.status == Status::kNotMeasured && films_fine) {
      out += "  " + printable(result.films[pair.follow_up].file) + " against " +
             printable(result.films[pair.reference].file) + ": " + printable(pair.reason) + "\n";
    }
  }
  return out.empty() ? out : "Not measured:\n" + out;
}

TableLine row_of(const Result& result, const ComparisonResult& pair) {
  const double unit = lengths_of(result).mm_per_unit;
  const FilmResult& film = result.films[pair.follow_up];
  const std::size_t flags = pair.flags.size() + film.flags.size();
  TableLine line{printable(film.file),
                 pair.days ? std::to_string(*pair.days) : "",
                 "",
                 "",
                 "",
                 flags == 0 ? "" : std::to_string(flags)};
  if (pair.migration) {
    line[2] = shown(pair.migration->subsidence, unit);
    line[3] = shown(pair.migration->medial, unit);
    line[4] = shown(pair.migration->tilt_change, 1.0);
  } else {
    line[2] = "not measured";
  }
  return line;
}

std::string heading(const Result& result) {
  std::string out = "Hip";
  if (result.hip) out += " " + printable(*result.hip);
  out += ", " + side_text(result.side);
  const auto reference =
      std::find_if(result.films.begin(), result.films.end(),
                   [](const FilmResult& film) { return film.role == Role::kReference; });
  if (reference != result.films.end()) {
    out += ", reference film " + printable(reference->file);
    if (reference->date) out += " (" + format_date(*reference->date) + ")";
  }
  return out + "\n\n";
}

std::string point_text(const Vec2& p) {
  return "(" + fixed_text(p.x(), 1) + ", " + fixed_text(p.y(), 1) + ")";
}

std::string landmark_line(const std::string& name, const std::optional<PointResult>& mark) {
  if (!mark) return "  " + padded(name, 20, Align::kLeft) + "not seen\n";
  std::string out = "  " + padded(name, 20, Align::kLeft) + point_text(mark->stored_px) + " px";
  if (mark->u) out += ", u " + fixed_text(mark->u->value, 1) + " mm";
  return out + (mark->source == Source::kGiven ? ", given\n" : "\n");
}

std::string circle_line(const std::string& name, const std::optional<CircleResult>& circle) {
  if (!circle) return "  " + padded(name, 20, Align::kLeft) + "not seen\n";
  return "  " + padded(name, 20, Align::kLeft) + "centre " + point_text(circle->centre_px) +
         " px, diameter " + fixed_text(circle->diameter_px, 1) + " px" +
         (circle->source == Source::kGiven ? ", given\n" : "\n");
}

std::string film_block(const FilmResult& film, const Result& result) {
  std::string out = printable(film.file) + ": " + side_text(film.side) + " hip";
  if (film.date) out += ", " + format_date(*film.date);
  out += "\n";
  if (film.status == Status::kNotMeasured)
    return out + "  not measured: " + printable(film.reason) + "\n";
  if (film.calibration) {
    const auto& scale = film.calibration->mm_per_px;
    out += "  " + padded("scale", 20, Align::kLeft) + fixed_text(scale.value.value, 4) + " ± " +
           fixed_text(scale.u95.value, 4) + " mm per px, from " + film.calibration->method + "\n";
  }
  out += circle_line("head", film.head);
  out += circle_line("cup", film.cup);
  if (film.stem) {
    out += landmark_line("stem shoulder", film.stem->shoulder);
    out += landmark_line("stem tip", film.stem->tip);
  }
  out += landmark_line("greater trochanter", film.greater_trochanter);
  out += landmark_line("lesser trochanter", film.lesser_trochanter);
  out += "  " + padded("tilt of the stem", 20, Align::kLeft) +
         (film.tilt ? shown(*film.tilt, 1.0) + " deg, varus positive" : "shaft axis not seen") +
         "\n";
  for (const ZoneResult& zone : film.zones) out += zone_line(film, zone, result);
  for (const Flag& flag : film.flags) out += "  flag: " + printable(flag.text) + "\n";
  return out;
}

}  // namespace

std::string padded(const std::string& text, std::size_t width, Align align) {
  const std::size_t used = width_of(text);
  const std::string space(width > used ? width - used : 0, ' ');
  return align == Align::kLeft ? text + space : space + text;
}

std::string lines_of(const std::vector<TableLine>& lines) {
  std::array<std::size_t, 6> widths{};
  for (const TableLine& line : lines) {
    for (std::size_t i = 0; i < line.size(); ++i) {
      widths.at(i) = std::max(widths.at(i), width_of(line.at(i)));
    }
  }
  std::string out;
  for (const TableLine& line : lines) {
    std::string text;
    for (std::size_t i = 0; i < line.size(); ++i) {
      text += (i == 0 ? "" : "  ") +
              padded(line.at(i), widths.at(i), i == 0 ? Align::kLeft : Align::kRight);
    }
    text.erase(text.find_last_not_of(' ') + 1);
    out += text + "\n";
  }
  return out;
}

Lengths lengths_of(const Result& result) {
  if (result.length_unit == LengthUnit::kMillimetres) return {};
  return {result.reference_scale ? result.reference_scale->value : 1.0, "px"};
}

Lengths lengths_of(const Result& result, const FilmResult& film) {
  if (result.length_unit == LengthUnit::kMillimetres || !film.calibration) return {};
  return {film.calibration->mm_per_px.value.value, "px"};
}

std::string to_table(const Result& result) {
  const std::string unit = " " + lengths_of(result).unit;
  std::string out = heading(result);
  if (!result.comparisons.empty()) {
    std::vector<TableLine> lines{
        {"follow-up", "days", "subsidence" + unit, "medial" + unit, "tilt change deg", "flags"}};
    for (const ComparisonResult& pair : result.comparisons) lines.push_back(row_of(result, pair));
    out += lines_of(lines);
    out += "± is the half-width of the 95 % interval. Distal, medial and varus are positive.\n\n";
  } else {
    out += lacks_reference(result) ? "No film serves as the reference: nothing was compared.\n\n"
                                   : "There is no follow-up film to compare with.\n\n";
  }
  out += zones_table(result);
  out += lysis_lines(result);
  out += side_film_lines(result);
  out += seat_table(result);
  out += refusal_lines(result);
  out += flag_lines(result);
  out += verdict_lines(result);
  out += history_lines(result);
  return out + kCaution + "\n";
}

std::string to_film_text(const Result& result) {
  std::string out;
  for (const Flag& flag : result.flags) out += printable(flag.text) + "\n";
  for (const FilmResult& film : result.films) out += film_block(film, result);
  return out + kCaution + "\n";
}

}  // namespace tidemark::followup
