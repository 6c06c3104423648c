#include <algorithm>
#include <cmath>

#include "tidemark/core/date.h"
#include "tidemark/core/text.h"
#include "tidemark/film/patient_key.h"
#include "working.h"

namespace tidemark::followup {
namespace {

std::string name_of(View view) {
  switch (view) {
    case View::kAp:
      return "AP";
    case View::kPa:
      return "PA";
    case View::kLateral:
      return "lateral";
    case View::kOther:
      break;
  }
  return "other";
}

bool is_frontal(const std::optional<View>& view) {
  return !view || *view == View::kAp || *view == View::kPa;  // unsaid counts as AP
}

void settle_view(Working& film) {
  const auto& header = film.upright->facts.view;
  film.out.view = film.entry.view ? film.entry.view : header;
  if (film.entry.view && header && *film.entry.view != *header) {
    film.out.flags.push_back({"view_contradicts_header", "The sheet says the view is " +
                                                             name_of(*film.entry.view) +
                                                             ", the file says " + name_of(*header) +
                                                             "; the sheet was followed."});
  }
  if (film.out.view == View::kPa) {
    film.out.flags.push_back(
        {"taken_from_behind",
         "This film is taken from behind (PA). How bone before and behind the stem shifts beside "
         "it is reckoned for that, but has been tried on films from the front only, so where the "
         "leg lies otherwise the motion may be less certain than it says."});
  }
  if (!is_frontal(film.out.view) && film.out.view != View::kLateral) {
    refuse(film, "only AP, PA and lateral films are measured and this view is " +
                     name_of(*film.out.view) + "; correct view in the sheet if that is wrong");
  }
}

void settle_date(Working& film, const std::optional<Date>& surgery) {
  const auto header = film.upright ? film.upright->facts.date : std::nullopt;
  film.out.date = film.entry.date ? film.entry.date : header;
  if (film.entry.date && header && *film.entry.date != *header) {
    film.out.flags.push_back({"date_contradicts_header", "The sheet dates this film " +
                                                             format_date(*film.entry.date) +
                                                             ", the file " + format_date(*header) +
                                                             "; the sheet was followed."});
  }
  if (header && film.upright->facts.contradicting_date && film.out.date == header) {
    film.out.flags.push_back(
        {"header_dates_differ", "The header of this file dates it " + format_date(*header) +
                                    " and " + format_date(*film.upright->facts.contradicting_date) +
                                    "; the former was taken, but either may be wrong."});
  }
  if (!film.out.date) {
    if (film.upright) {
      film.out.flags.push_back({"date_unknown", "Neither the sheet nor the file dates this film."});
    }
    return;
  }
  if (!surgery) return;
  film.out.days_from_surgery = days_between(*surgery, *film.out.date);
  if (*film.out.days_from_surgery < 0) {
    film.out.flags.push_back({"before_surgery", "This film is dated before the surgery."});
    // What stem it may show is not the one that was put in on that day.
    refuse(film, "the film is dated " + format_date(*film.out.date) + ", before the surgery of " +
                     format_date(*surgery) + "; leave it out, or correct the wrong date");
  }
}

/// Index of the film that serves as reference when the sheet names none.
std::optional<std::size_t> earliest(const WorkingSeries& work) {
  std::optional<std::size_t> best;
  const auto key = [&](std::size_t i) {
    const FilmResult& film = work.films[i].out;
    // Undated ones come last; equal ones keep their order.
    return std::pair(!film.date, film.date.value_or(Date{}));
  };
  for (std::size_t i = 0; i < work.films.size(); ++i) {
    const Working& film = work.films[i];
    if (film.refused || film.entry.role == Role::kFollowUp) continue;
    if (film.out.view == View::kLateral) continue;
    if (!best || key(i) < key(*best)) best = i;
  }
  return best;
}

/// Whether a film could have been the reference, had it not been refused. Those that the sheet
/// calls no frontal film, or that are from before the surgery, could not.
bool is_lost_candidate(const Working& film) {
  if (!film.refused || film.out.excluded || film.entry.role == Role::kFollowUp) return false;
  if (film.entry.view && !is_frontal(film.entry.view)) return false;
  return film.out.days_from_surgery.value_or(0) >= 0;
}

/// What stands in for an earlier film that cannot be used hides what happened between the two.
void flag_lost_reference(WorkingSeries& work) {
  if (!work.reference) return;
  const FilmResult& reference = work.films[*work.reference].out;
  for (const Working& film : work.films) {
    if (!is_lost_candidate(film)) continue;
    if (film.out.date && reference.date && *film.out.date >= *reference.date) continue;
    work.flags.push_back({"reference_lost", film.out.file + " cannot be used and may be earlier; " +
                                                reference.file +
                                                " stands in for it as the reference."});
  }
}

/// An undated film beside a reference film that is the earliest dated one may be the earlier of the
/// two, and what the stem did between them would be told backwards.
void flag_unknown_order(WorkingSeries& work) {
  if (!work.reference || !work.films[*work.reference].out.date) return;
  for (Working& film : work.films) {
    if (film.refused || film.out.date || film.entry.role == Role::kFollowUp) continue;
    if (film.out.view == View::kLateral) continue;
    film.out.flags.push_back(
        {"order_unknown", "This film has no date and may be earlier than the reference, " +
                              work.films[*work.reference].out.file +
                              "; state its date, or name the reference in the sheet."});
  }
}

/// Frontal films are there, but each is a follow-up film by the sheet. (Lateral films alone are
/// measured without a reference.)
void flag_no_reference(WorkingSeries& work) {
  const auto& films = work.films;
  if (std::none_of(films.begin(), films.end(), [](const Working& film) {
        return !film.refused && film.out.view != View::kLateral;
      })) {
    return;
  }
  work.flags.push_back(
      {"no_reference_film",
       "No film serves as the reference, so nothing was compared: each one is excluded, cannot be "
       "used or is stated to be a follow-up film; name the film after the operation as the "
       "reference."});
}

/// A sheet lists the films of its hip once and for all: who puts another one beside it must know
/// that it does not count.
void flag_not_listed(WorkingSeries& work) {
  constexpr std::size_t kMostNames = 5;
  const auto& names = work.series.not_listed;
  if (names.empty()) return;
  std::string told;
  for (std::size_t i = 0; i < std::min(names.size(), kMostNames); ++i) {
    told += (i == 0 ? "" : ", ") + printable(names[i]);
  }
  if (names.size() > kMostNames) told += ", ...";
  work.flags.push_back({"films_not_listed",
                        "Beside series.json stand films that it does not list, so that they were "
                        "not measured: " +
                            told + "; list them in it, with exclude where they do not count."});
}

void settle_roles(WorkingSeries& work) {
  for (std::size_t i = 0; i < work.films.size(); ++i) {
    if (work.films[i].entry.role == Role::kReference) work.reference = i;
  }
  if (!work.reference) {
    work.reference = earliest(work);
    if (work.reference && !work.films[*work.reference].out.date && work.films.size() > 1) {
      work.flags.push_back({"reference_by_name",
                            "No film is dated, so the first by name is the reference; name it in "
                            "series.json."});
    }
    flag_lost_reference(work);
    flag_unknown_order(work);
  }
  if (!work.reference) {
    flag_no_reference(work);
    return;
  }
  FilmResult& reference = work.films[*work.reference].out;
  reference.role = Role::kReference;
  for (Working& film : work.films) {
    if (film.out.date && reference.date && *film.out.date < *reference.date) {
      film.out.flags.push_back({"before_reference", "This film is dated before the reference."});
    }
  }
}

void settle_side(WorkingSeries& work) {
  work.side = work.series.side;
  const auto take = [&](const Working& film) {
    if (!work.side && !film.refused && film.upright) work.side = film.upright->facts.side;
  };
  if (work.reference) take(work.films[*work.reference]);
  for (const Working& film : work.films) take(film);
  if (!work.side) return;
  for (Working& film : work.films) {
    if (film.refused || !film.upright) continue;
    const auto& header = film.upright->facts.side;
    if (!header || *header == *work.side) continue;
    if (!work.series.side) {
      refuse(film, "the file says " + word_of(*header) + " hip, the series is of the " +
                       word_of(*work.side) + " one; move it to its own folder or state the side");
      continue;
    }
    film.out.flags.push_back({"side_contradicts_header", "The file says " + word_of(*header) +
                                                             " hip; the " + word_of(*work.side) +
                                                             " one was measured as stated."});
  }
}

void flag_other_patients(WorkingSeries& work) {
  std::optional<std::string> expected;
  const auto look = [&](Working& film) {
    if (!film.upright || !film.upright->facts.patient_key) return;
    const auto& key = film.upright->facts.patient_key;
    if (!expected) expected = key;
    if (film::may_be_same_patient(*key, *expected)) return;
    film.out.flags.push_back({"patient_differs",
                              "The patient of this file is not the one of the reference film, or "
                              "of the first that names one; check that it belongs to this hip."});
  };
  if (work.reference) look(work.films[*work.reference]);
  for (Working& film : work.films) look(film);
}

/// Whether two films show one picture, but for what lossy compression does to it.
bool look_alike(const Raster& a, const Raster& b) {
  constexpr double kAlike = 0.999;  // correlation; two exposures of a hip have less. House choice
  constexpr std::size_t kEvery = 31;
  if (a.width != b.width || a.height != b.height || a.values.empty()) return false;
  double n = 0.0;
  double sum_a = 0.0, sum_b = 0.0, square_a = 0.0, square_b = 0.0, both = 0.0;
  for (std::size_t i = 0; i < a.values.size(); i += kEvery) {
    const double x = a.values[i];
    const double y = b.values[i];
    n += 1.0;
    sum_a += x;
    sum_b += y;
    square_a += x * x;
    square_b += y * y;
    both += x * y;
  }
  const double spread = (square_a - sum_a * sum_a / n) * (square_b - sum_b * sum_b / n);
  return spread > 0.0 && both - sum_a * sum_b / n > kAlike * std::sqrt(spread);
}

/// Two files of one object in two encodings, or with a tag more, have one SOP Instance UID and show
/// the same. Of careless writers all films have one UID; that alone makes no copies of them.
bool is_same_object(const film::FilmImage& a, const film::FilmImage& b) {
  return a.facts.object_uid && a.facts.object_uid == b.facts.object_uid &&
         look_alike(a.pixels, b.pixels);
}

/// The film, of those counted, that this one is another file of; nothing when it is none of them.
const Working* counted_before(const Working& film, const std::vector<const Working*>& counted) {
  const auto same = [&](const Working* other) {
    return film.out.sha256 == other->out.sha256 || is_same_object(*film.upright, *other->upright);
  };
  const auto found = std::find_if(counted.begin(), counted.end(), same);
  return found == counted.end() ? nullptr : *found;
}

/// One film is one piece of evidence: of copies only the reference film, else the first by name,
/// is measured.
void refuse_copies(WorkingSeries& work) {
  std::vector<const Working*> counted;
  const auto look = [&](Working& film) {
    if (film.refused || !film.upright || !film.out.sha256) return;
    const Working* before = counted_before(film, counted);
    if (before == nullptr) {
      counted.push_back(&film);
      return;
    }
    if (before == &film) return;
    const std::string& name = before->out.file;
    const bool bytes = film.out.sha256 == before->out.sha256;
    film.out.flags.push_back(
        {"copy_of_film",
         bytes ? "This file has the same bytes as " + name + "."
               : "This file is the same film as " + name + " (SOP Instance UID) in other bytes."});
    refuse(film, (bytes ? "the file has the same bytes as " + name
                        : "the file is the same film (SOP Instance UID) as " + name) +
                     ", and a film counts once; remove it, or put the right film in its place");
  };
  if (work.reference) look(work.films[*work.reference]);
  for (Working& film : work.films) look(film);
}

bool outside(const Vec2& px, const film::FilmFacts& facts) {
  return px.x() > facts.stored_columns - 0.5 || px.y() > facts.stored_rows - 0.5;
}

/// All points that the sheet gives, one of each line.
std::vector<Vec2> points_of(const FilmEntry& entry) {
  const auto& given = entry.landmarks_in_stored_px;
  std::vector<Vec2> out;
  for (const auto* point :
       {&given.head_centre_px, &given.stem_tip_px, &given.stem_shoulder_px,
        &given.lesser_trochanter_px, &given.greater_trochanter_px, &given.bone_entry_px,
        &given.second_zone_border_px, &given.third_zone_border_px}) {
    if (*point) out.push_back(**point);
  }
  for (const auto* line : {&given.stem_axis_px, &given.shaft_axis_px}) {
    if (*line) out.push_back((*line)->point);
  }
  if (entry.marker_in_stored_px) out.push_back(entry.marker_in_stored_px->centre);
  return out;
}

void check_landmarks(Working& film) {
  for (const Vec2& point : points_of(film.entry)) {
    if (!outside(point, film.upright->facts)) continue;
    refuse(
        film,
        "a point of landmarks_px or marker_px lies outside of the film; correct it in the sheet");
    return;
  }
}

}  // namespace

void settle(WorkingSeries& work) {
  for (Working& film : work.films) {
    film.out.view = film.entry.view;
    settle_date(film, work.series.surgery_date);  // a lost visit has its day as well
    if (!film.upright) continue;
    settle_view(film);
    check_landmarks(film);
    for (const std::string& note : film.upright->facts.notes) {
      film.out.flags.push_back({"file_note", note});
    }
    if (film.upright->facts.burned_in_annotation) {
      film.out.flags.push_back({"burned_in_annotation",
                                "The file says that text is burnt into this film, which may name "
                                "the patient, and pictures of it show it too; look before you pass "
                                "one on."});
    }
  }
  flag_not_listed(work);
  settle_roles(work);
  settle_side(work);
  flag_other_patients(work);
  refuse_copies(work);
}

}  // namespace tidemark::followup
