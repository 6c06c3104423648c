#pragma once

#include <algorithm>
#include <cmath>
#include <string>

#include "../../modules/followup/src/pair.h"
#include "lucency/invented_lines.h"
#include "tidemark/core/date.h"
#include "tidemark/followup/measure.h"

namespace tidemark::followup::invented {

/// Invented steps: every film is a grey ramp of 300 x 500 px whose implant and bone stand at places
/// worked out by hand, so that tests of what lies between the steps need no real film. A film is
/// named by its file: "none*" cannot be read, "bare*" shows no implant, "dark*" shows it only with
/// the grey values turned over, "early*" and "late*" differ in their header's date.
inline constexpr int kWidth = 300;
inline constexpr int kHeight = 500;
inline constexpr double kHeadDiameterPx = 64.0;

inline film::FilmImage image(const std::string& file) {
  film::FilmImage out;
  out.pixels = Raster(kWidth, kHeight);
  for (int y = 0; y < kHeight; ++y) {
    for (int x = 0; x < kWidth; ++x) out.pixels.at(x, y) = static_cast<float>(1 + x + 2 * y);
  }
  out.facts.file = file;
  out.facts.sha256 = file + std::string(64 - file.size(), '0');
  out.facts.stored_columns = kWidth;
  out.facts.stored_rows = kHeight;
  if (file.starts_with("early")) out.facts.date = parse_date("2024-01-01");
  if (file.starts_with("late")) out.facts.date = parse_date("2024-03-01");
  return out;
}

/// Head at (200, 100), stem axis from (150, 130) straight down to the tip at (150, 400).
inline anatomy::Implant implant() {
  anatomy::Implant out;
  out.head = {{Vec2(200.0, 100.0), kHeadDiameterPx / 2.0}, 0.1, 0.32, Source::kFound};
  out.axis = {{Vec2(150.0, 130.0), Vec2::UnitY()}, Degrees{0.05}, Source::kFound};
  out.tip = {Vec2(150.0, 400.0), 0.5, Source::kFound};
  out.shoulder = {Vec2(130.0, 130.0), 0.5, Source::kFound};
  out.reference_px = Vec2(150.0, 150.0);
  out.outline_px = {Vec2(170.0, 120.0), Vec2(130.0, 130.0), Vec2(140.0, 390.0),
                    Vec2(150.0, 400.0), Vec2(160.0, 390.0), Vec2(180.0, 140.0)};
  out.stem = Mask(kWidth, kHeight);
  out.metal = Mask(kWidth, kHeight);
  out.confidence = 0.9;
  return out;
}

/// Shaft axis turned by 2 degrees, counter-clockwise as seen on a right hip: with the stem axis
/// straight down, the stem is in 2 degrees of varus (its tip lies lateral, -x, of the shaft
/// axis's).
inline anatomy::Femur femur() {
  anatomy::Femur out;
  const double angle = 2.0 * 3.14159265358979323846 / 180.0;
  out.shaft_axis = {
      {Vec2(150.0, 300.0), Vec2(std::sin(angle), std::cos(angle))}, Degrees{0.12}, Source::kFound};
  out.lesser_trochanter = {Vec2(190.0, 220.0), 2.0, Source::kFound};
  return out;
}

inline migration::Migration migration() {
  migration::Migration out;
  out.subsidence = {{2.1}, {0.2}, {0.4}};
  out.subsidence_at_head_centre = {{2.0}, {0.2}, {0.4}};
  out.subsidence_at_shoulder = {{2.2}, {0.2}, {0.4}};
  out.subsidence_at_tip = {{2.1}, {0.2}, {0.4}};
  out.medial = {{0.1}, {0.12}, {0.24}};
  out.tilt_change = {{0.35}, {0.09}, {0.18}};
  out.budget = {{"bone alignment", {0.12}}};
  out.features = {{"greater_trochanter", Vec2(-10.0, 20.0), {{2.4}, {0.4}, {0.8}}}};
  out.flags = {{"pair_flag", "Something about the pair."}};
  return out;
}

/// The lines of lucency/invented_lines.h carried onto these films: a line of 1.5 mm over the whole
/// of zone 7 on every film but "early*", which has none, and zone 3 open on all. "odd*" is refused.
inline Expected<lucency::FilmLucency> lines(const std::string& file) {
  if (file.starts_with("odd")) {
    return fail(ErrorKind::kCannotTell, "lines", "the outline ends above the tip", "look by eye");
  }
  const double width = file.starts_with("early") ? 0.0 : 1.5;
  auto out = lucency::invented::film(0.0, [=](int zone, double) {
    return zone == 7 ? width : zone == 3 ? -1.0 : 0.0;
  });
  const auto carry = [](Vec2& p) { p = Vec2(150.0, 130.0) + 0.198 * p; };
  carry(out.plan.axis_px.point);
  for (auto& zone : out.plan.zones)
    std::for_each(zone.interface_px.begin(), zone.interface_px.end(), carry);
  for (auto& border : out.plan.borders) {
    carry(border.lateral_px);
    carry(border.medial_px);
  }
  for (auto& line : out.lines) {
    for (auto& point : line.points) carry(point.edge_px);
  }
  out.edge = lucency::EdgeResponse{{0.2}, 0.05, {1.1}, 12};
  out.flags = {{"film_lines", "Something about the lines."}};
  return out;
}

/// Sections like those of a tube of 30 mm with a canal of 20 mm and a stem of 16 mm, at the levels
/// that are asked for and down to 110 mm below the lesser trochanter.
inline anatomy::CanalReading canal() {
  const auto mm = [](double value) { return Measured<Millimetres>{{value}, {0.3}, {0.6}}; };
  anatomy::CanalReading out;
  for (int level = 20; level >= -110; level -= 10) {
    const anatomy::SectionSide side{mm(15.0), mm(10.0), anatomy::InnerBorder::kSeen, mm(8.0)};
    out.sections.push_back(
        {Millimetres{1.0 * level}, Vec2(150.0, 220.0 - 2.0 * level), side, side});
  }
  out.flare =
      anatomy::FlareSeat{Vec2(130.0, 180.0), Vec2(-1.0, 0.0), mm(1.5), anatomy::InnerBorder::kSeen};
  return out;
}

/// Nothing to align.
inline Expected<std::shared_ptr<const PreparedHip>> prepared() {
  const alignment::PreparedFilm none(nullptr);
  return std::make_shared<const PreparedHip>(PreparedHip{{}, {}, none, none});
}

inline Steps steps() {
  Steps out;
  out.read = [](const std::filesystem::path& file) -> Expected<film::FilmImage> {
    const std::string name = file.filename().string();
    if (name.starts_with("none")) {
      return fail(ErrorKind::kBadInput, name, "no pixel data", "export it again");
    }
    return image(name);
  };
  out.find_implant = [](const film::FilmImage& view,
                        const anatomy::ImplantOptions& options) -> Expected<anatomy::Implant> {
    const bool turned_over = view.pixels.at(0, view.pixels.height - 1) < view.pixels.at(0, 0);
    const bool dark = view.facts.file.starts_with("dark");
    if (view.facts.file.starts_with("bare") || dark != turned_over) {
      return fail(ErrorKind::kCannotTell, view.facts.file, "no stem is seen", "check the film");
    }
    anatomy::Implant found = implant();
    // The head stands over the stem: 10 px behind its axis.
    if (options.look == anatomy::LookFrom::kSide) found.head.circle_px.centre.x() = 160.0;
    return found;
  };
  out.find_femur = [](const film::FilmImage&, const anatomy::Implant&,
                      const anatomy::FemurOptions&) -> Expected<anatomy::Femur> { return femur(); };
  out.look_for_lines = [](const film::FilmImage& view, const anatomy::Implant&,
                          const lucency::LucencyOptions&) { return lines(view.facts.file); };
  out.read_canal = [](const film::FilmImage&, const anatomy::Implant&, const anatomy::Femur&,
                      MillimetresPerPixel) { return canal(); };
  out.compare_lines = [](const HipFilm& reference,
                         const HipFilm& follow_up) -> Expected<std::vector<lucency::ZoneChange>> {
    return lucency::compare(*reference.lucency, *follow_up.lucency,
                            scale_trust(reference, follow_up));
  };
  out.prepare = [](const HipFilm&) { return prepared(); };
  out.compare = [](const FilmOfPair&, const FilmOfPair&) -> Expected<migration::Migration> {
    return migration();
  };
  return out;
}

inline Series series(const std::vector<std::string>& files) {
  Series out;
  out.stem.head_diameter = Millimetres{32.0};
  out.side = Side::kRight;
  for (const std::string& file : files) {
    FilmEntry film;
    film.file = file;
    film.path = "/nowhere/" + file;
    out.films.push_back(std::move(film));
  }
  return out;
}

}  // namespace tidemark::followup::invented
