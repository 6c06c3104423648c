#include "stated_field.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <string>

#include "blocks.h"
#include "outline.h"

namespace tidemark::film {
namespace {

constexpr int kTolerance = 3;           ///< blocks off a border before anything outside counts
constexpr double kMostStanding = 0.02;  ///< share of blocks outside that may stand out
constexpr std::size_t kFewest = 30;     ///< blocks; fewer say nothing

/// What the pixels say to a stated field.
enum class Verdict { kHolds, kIsAllOfTheFilm, kLeavesTooLittle, kFilmGoesOn };

std::string note_of(FieldDevice device, Verdict verdict) {
  const bool shutter = device == FieldDevice::kShutter;
  if (verdict == Verdict::kHolds) {
    return shutter ? "what lies outside of the display shutter in the header was left out"
                   : "what lies outside of the collimator in the header was left out";
  }
  if (verdict == Verdict::kLeavesTooLittle) {
    return shutter ? "the display shutter in the header would leave less than a quarter of the "
                     "film; it was not used"
                   : "the collimator in the header would leave less than a quarter of the film; it "
                     "was not used";
  }
  return shutter ? "the film shows more outside of the display shutter in the header; it was not "
                   "used"
                 : "the film shows more outside of the collimator in the header; it was not used";
}

/// A film shrunk to blocks, with what its greys are like as a whole.
struct Shrunk {
  Raster blocks;
  int size = 1;
  double spread = 0.0;
};

/// Outlines of the stored matrix in px of the view. Corners within a block of a side of the film
/// are carried beyond it: such a border bounds nothing.
std::vector<Outline> in_view(const std::vector<Outline>& stored, const FilmImage& film,
                             double block) {
  const Affine2 view_from_stored = film.stored_from_view.inverse();
  const auto beyond = [&](double at, int size) {
    if (at < block) return std::min(at, -1.0);
    return at > size - 1.0 - block ? std::max(at, static_cast<double>(size)) : at;
  };
  std::vector<Outline> out = stored;
  for (Outline& outline : out) {
    for (Vec2& p : outline) {
      p = view_from_stored.apply(p);
      p = Vec2(beyond(p.x(), film.pixels.width), beyond(p.y(), film.pixels.height));
    }
  }
  return out;
}

/// The blocks whose middles lie in every outline.
Mask blocks_inside(std::vector<Outline> outlines, const Shrunk& film) {
  for (Outline& outline : outlines) {
    for (Vec2& p : outline) p = (p - Vec2::Constant(0.5 * (film.size - 1))) / film.size;
  }
  return inside_of(outlines, film.blocks.width, film.blocks.height);
}

double share_of(const Mask& mask) {
  const auto n = std::count_if(mask.values.begin(), mask.values.end(), [](auto v) { return v; });
  return static_cast<double>(n) / static_cast<double>(mask.values.size());
}

/// What lies outside, at least kTolerance blocks off what lies inside.
Mask well_outside(const Mask& inside) {
  Mask out(inside.width, inside.height, 1);
  for (int y = 0; y < inside.height; ++y) {
    for (int x = 0; x < inside.width; ++x) {
      if (inside.at(x, y) == 0) continue;
      for (int j = std::max(0, y - kTolerance); j <= std::min(out.height - 1, y + kTolerance);
           ++j) {
        for (int i = std::max(0, x - kTolerance); i <= std::min(out.width - 1, x + kTolerance); ++i)
          out.at(i, j) = 0;
      }
    }
  }
  return out;
}

/// Does a block stand out from what lies two blocks before and behind it, as edges of bone do and
/// the fading of scatter does not?
bool stands_out(const Shrunk& film, const Mask& outside, int x, int y) {
  const auto bend = [&](int dx, int dy) {
    for (const int side : {-2, 2}) {
      const int i = x + side * dx;
      const int j = y + side * dy;
      if (!outside.contains(i, j) || outside.at(i, j) == 0) return 0.0;
    }
    return std::abs(film.blocks.at(x - 2 * dx, y - 2 * dy) - 2.0 * film.blocks.at(x, y) +
                    film.blocks.at(x + 2 * dx, y + 2 * dy));
  };
  return std::max(bend(1, 0), bend(0, 1)) > kStep * film.spread;
}

/// One part of what lies outside.
struct Part {
  std::vector<float> greys;
  std::size_t standing = 0;

  [[nodiscard]] bool is_flat(double film_spread) const {
    if (greys.size() < kFewest) return true;
    const auto most = kMostStanding * static_cast<double>(greys.size());
    return static_cast<double>(standing) <= most && spread(greys) <= kFlat * film_spread;
  }
};

/// Is there nothing to see on any side of the stated field, nor in its corners?
bool nothing_outside(const Shrunk& film, const Mask& inside) {
  const Mask outside = well_outside(inside);
  const auto box = box_of(inside);
  if (!box) return false;
  std::array<Part, 5> parts;  // left, right, above, below, in the corners of the box
  for (int y = 0; y < outside.height; ++y) {
    for (int x = 0; x < outside.width; ++x) {
      if (outside.at(x, y) == 0) continue;
      const std::size_t standing = stands_out(film, outside, x, y) ? 1 : 0;
      const std::array in{x<box->x.low, x> box->x.high, y<box->y.low, y> box->y.high};
      const bool corner = std::none_of(in.begin(), in.end(), [](bool b) { return b; });
      for (std::size_t i = 0; i < parts.size(); ++i) {
        if (i < in.size() ? !in.at(i) : !corner) continue;
        parts.at(i).greys.push_back(film.blocks.at(x, y));
        parts.at(i).standing += standing;
      }
    }
  }
  return std::all_of(parts.begin(), parts.end(),
                     [&](const Part& part) { return part.is_flat(film.spread); });
}

Verdict judged(const Shrunk& film, const std::vector<Outline>& outlines) {
  const Mask inside = blocks_inside(outlines, film);
  const double share = share_of(inside);
  if (share >= 1.0) return Verdict::kIsAllOfTheFilm;
  if (share < kLeastField) return Verdict::kLeavesTooLittle;
  return nothing_outside(film, inside) ? Verdict::kHolds : Verdict::kFilmGoesOn;
}

/// The four lines of a field as an outline.
Outline outline_of(const ExposedField& field) {
  return {meet(field.left, field.top), meet(field.right, field.top),
          meet(field.right, field.bottom), meet(field.left, field.bottom)};
}

}  // namespace

std::optional<ExposedField> field_of(FilmImage& film, const std::vector<StatedField>& stated) {
  auto seen = find_exposed_field(film.pixels);
  if (stated.empty()) return seen;
  Shrunk shrunk;
  shrunk.size = block_size_of(film.pixels);
  shrunk.blocks = blocks_of(film.pixels, shrunk.size);
  shrunk.spread = spread(shrunk.blocks.values);
  ExposedField field = seen.value_or(whole_of(film.pixels));
  std::vector<std::string> used;
  for (const StatedField& one : stated) {
    const std::vector<Outline> outlines = in_view(one.outlines, film, shrunk.size);
    const Verdict verdict = judged(shrunk, outlines);
    if (verdict == Verdict::kIsAllOfTheFilm) continue;
    auto& notes = verdict == Verdict::kHolds ? used : film.facts.notes;
    notes.push_back(note_of(one.device, verdict));
    if (verdict != Verdict::kHolds) continue;
    field.within.insert(field.within.end(), outlines.begin(), outlines.end());
  }
  if (used.empty()) return seen;
  std::vector<Outline> all = field.within;
  all.push_back(outline_of(field));
  if (share_of(blocks_inside(all, shrunk)) < kLeastField) {
    film.facts.notes.emplace_back(
        "display shutter, collimator and borders on the film together would leave less than a "
        "quarter of it; those in the header were not used");
    return seen;
  }
  film.facts.notes.insert(film.facts.notes.end(), used.begin(), used.end());
  return field;
}

}  // namespace tidemark::film
