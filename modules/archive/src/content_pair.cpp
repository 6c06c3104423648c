#include <utility>

#include "build.h"
#include "content.h"
#include "tidemark/migration/migration.h"

namespace tidemark::archive {
namespace {

using followup::ComparisonResult;
using followup::FilmResult;
using followup::Result;

/// Both films of a pair with the place on the stem that is spoken of, where it was found.
class PairPlaces {
 public:
  PairPlaces(const Result& result, const ComparisonResult& pair, const Sources& sources)
      : result_(result), pair_(pair), sources_(sources) {}

  template <class Where>
  void add(Item& to, const char* value, const char* meaning, const Where& where) const {
    for (const std::size_t film : {pair_.reference, pair_.follow_up}) {
      if (!sources_[film]) continue;
      const std::optional<Vec2> p = where(result_.films[film]);
      if (!p) continue;
      to.children.push_back(
          place(own(value, meaning), {Shape::kPoint, {*p}}, sources_[film]->image));
    }
  }

  /// Stem axis and shaft axis of both films.
  void add_axes_to(Item& to) const {
    for (const std::size_t film : {pair_.reference, pair_.follow_up}) {
      add_axes(result_.films[film], sources_[film], to);
    }
  }

 private:
  const Result& result_;
  const ComparisonResult& pair_;
  const Sources& sources_;
};

std::optional<Vec2> reference_point(const FilmResult& film) {
  if (!film.stem) return {};
  return film.stem->reference_px;
}
std::optional<Vec2> head_centre(const FilmResult& film) {
  if (!film.head) return {};
  return film.head->centre_px;
}
std::optional<Vec2> shoulder(const FilmResult& film) {
  if (!film.stem) return {};
  return film.stem->shoulder.stored_px;
}
std::optional<Vec2> tip(const FilmResult& film) {
  if (!film.stem || !film.stem->tip) return {};
  return film.stem->tip->stored_px;
}

Code by_alignment() { return own("BONE-ALIGNMENT", "Stem and bone of both films aligned rigidly"); }
Code by_landmarks() { return own("LANDMARKS", "Landmarks alone, without alignment"); }

void add_features(const std::vector<migration::FeatureSubsidence>& features, const Code& how,
                  const CodedLengths& lengths, Item& group) {
  for (const auto& one : features) {
    Item item = measurement(own("SUBSIDENCE-FEAT", "Subsidence as one feature of bone says it"),
                            lengths.of(one.subsidence));
    item.children.push_back(text_item(Relation::kHasConceptModifier,
                                      own("FEATURE", "Feature of the bone"), one.feature));
    item.children.push_back(method(how));
    group.children.push_back(std::move(item));
  }
}

void add_budget(const migration::Migration& m, const CodedLengths& lengths, Item& group) {
  for (const auto& row : m.budget) {
    Item item = measurement(own("BUDGET", "Share in the standard uncertainty of the subsidence"),
                            uncertainty_of(lengths.of(row.u).value, lengths.unit()));
    item.children.push_back(text_item(Relation::kHasConceptModifier,
                                      own("BUDGET-SOURCE", "Source of the share"), row.source));
    group.children.push_back(std::move(item));
  }
}

void add_migration(const migration::Migration& m, const CodedLengths& lengths,
                   const PairPlaces& places, Item& group) {
  const auto add = [&](const char* value, const char* meaning, const Value& number,
                       const Code& how) -> Item& {
    Item item = measurement(own(value, meaning), number);
    item.children.push_back(method(how));
    group.children.push_back(std::move(item));
    return group.children.back();
  };
  const Code how = by_alignment();
  places.add(
      add("SUBSIDENCE", "Subsidence of the stem's reference point", lengths.of(m.subsidence), how),
      "REFERENCE-POINT", "Reference point of the stem", reference_point);
  places.add(add("SUBSIDENCE-HEAD", "Subsidence of the head's centre",
                 lengths.of(m.subsidence_at_head_centre), how),
             "HEAD-CENTRE", "Centre of the head", head_centre);
  places.add(add("SUBSIDENCE-SHLD", "Subsidence of the stem's shoulder",
                 lengths.of(m.subsidence_at_shoulder), how),
             "STEM-SHOULDER", "Shoulder of the stem", shoulder);
  if (m.subsidence_at_tip) {
    places.add(add("SUBSIDENCE-TIP", "Subsidence of the stem's tip",
                   lengths.of(*m.subsidence_at_tip), how),
               "STEM-TIP", "Tip of the stem", tip);
  }
  places.add(add("MEDIAL", "Medial shift of the stem's reference point", lengths.of(m.medial), how),
             "REFERENCE-POINT", "Reference point of the stem", reference_point);
  places.add_axes_to(
      add("TILT-CHANGE", "Change of tilt, varus positive", degrees_of(m.tilt_change), how));
  add_features(m.features, own("ONE-FEATURE", "One feature of the bone alone"), lengths, group);
  if (m.by_landmarks) {
    add("SUBSIDENCE", "Subsidence of the stem's reference point",
        lengths.of(m.by_landmarks->subsidence), by_landmarks());
    if (const auto& tilt = m.by_landmarks->tilt_change) {
      add("TILT-CHANGE", "Change of tilt, varus positive", degrees_of(*tilt), by_landmarks());
    }
    add_features(m.by_landmarks->features, by_landmarks(), lengths, group);
  }
  add_budget(m, lengths, group);
}

}  // namespace

Item pair_group(const Result& result, const ComparisonResult& pair, const Sources& sources,
                const Tracking& tracking) {
  Item out =
      group({"migration of the stem", code::femoral_stem(), {}, pair.follow_up}, result, tracking);
  out.children.push_back(text_item(Relation::kContains,
                                   own("REFERENCE-FILM", "Film that it is compared with"),
                                   result.films[pair.reference].file));
  if (pair.days) {
    out.children.push_back(measurement(own("DAYS", "Days since the reference film"),
                                       {static_cast<double>(*pair.days), {}, {}, unit::days(), 0}));
  }
  if (pair.migration) {
    add_migration(*pair.migration, CodedLengths{lengths_of(result)}, {result, pair, sources}, out);
  }
  const bool measured = pair.status == followup::Status::kMeasured;
  out.children.push_back(
      code_item(Relation::kContains, own("STATUS", "Whether it was measured"),
                measured ? own("MEASURED", "Measured") : own("NOT-MEASURED", "Not measured")));
  if (!measured) {
    out.children.push_back(text_item(Relation::kContains, own("REASON", "Reason"), pair.reason));
  }
  for (const Flag& flag : pair.flags) {
    out.children.push_back(
        text_item(Relation::kContains, own("FLAG", "Remark"), flag.id + ": " + flag.text));
  }
  return out;
}

}  // namespace tidemark::archive
