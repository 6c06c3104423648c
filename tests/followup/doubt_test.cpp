#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "invented.h"
#include "scratch.h"
#include "tidemark/followup/measure.h"
#include "tidemark/followup/write.h"
#include "tidemark/phantom/film.h"
#include "tidemark/phantom/write.h"

namespace tidemark::followup {
namespace {

using testing::HasSubstr;

bool has_flag(const std::vector<Flag>& flags, const std::string& id) {
  for (const Flag& flag : flags) {
    if (flag.id == id) return true;
  }
  return false;
}

phantom::CaseOptions options() {
  phantom::CaseOptions out;
  out.pixel_pitch = Millimetres{0.3};
  return out;
}

enum class Stored { kUpright, kMirrored };

/// A simulated hip whose films are written one by one, each as the case that is asked for shows it.
class SimulatedHip {
 public:
  SimulatedHip() : spec_(phantom::random_case(777, 1, options())) {
    series_.side = spec_.side;
    series_.stem.head_diameter = spec_.head_diameter;
  }

  /// Adds the film with this index of the case after `change`.
  void add(const std::string& name, int index,
           const std::function<void(phantom::CaseSpec&)>& change = {},
           Stored stored = Stored::kUpright, std::optional<int> rows = {}) {
    phantom::CaseSpec spec = spec_;
    if (change) change(spec);
    const auto model = phantom::build_model(spec, 1).value();
    auto pixels =
        phantom::simulate(*model, spec, spec.films[static_cast<std::size_t>(index)], 1).pixels;
    if (stored == Stored::kMirrored) {
      const auto upright = pixels;
      for (int y = 0; y < pixels.height; ++y) {
        for (int x = 0; x < pixels.width; ++x) {
          pixels.at(x, y) = upright.at(pixels.width - 1 - x, y);
        }
      }
    }
    if (rows) {
      pixels.height = *rows;
      pixels.values.resize(static_cast<std::size_t>(*rows) *
                           static_cast<std::size_t>(pixels.width));
    }
    FilmEntry entry;
    entry.file = name;
    entry.path = folder_ / name;
    entry.role = index == 0 ? Role::kReference : Role::kFollowUp;
    spec.seed += 1 + series_.films.size();  // an object of its own, though of one index
    ASSERT_TRUE(phantom::write_dicom(entry.path, pixels, spec, index).has_value());
    series_.films.push_back(std::move(entry));
  }

  [[nodiscard]] const phantom::CaseSpec& spec() const { return spec_; }
  [[nodiscard]] Series& series() { return series_; }

 private:
  test::Scratch folder_;
  phantom::CaseSpec spec_;
  Series series_;
};

const ComparisonResult& comparison_with(const Result& result, const std::string& file) {
  for (const ComparisonResult& c : result.comparisons) {
    if (result.films[c.follow_up].file == file) return c;
  }
  throw std::runtime_error("no comparison with " + file);
}

// One honest follow-up, and follow-ups of which each is wrong in one way: the honest one is
// measured without a doubt, each of the others is refused in one sentence that names its fault.
TEST(Doubt, NamesWhatIsWrongWithAFilm) {
  SimulatedHip hip;
  const double head = hip.spec().head_diameter.value;
  hip.add("reference.dcm", 0);
  hip.add("honest.dcm", 1);
  hip.add("mirrored.dcm", 1, {}, Stored::kMirrored);
  hip.add("lateral.dcm", 1, [](auto& spec) { spec.films[1].pose.rotation.value = -60.0; });
  hip.add("other-head.dcm", 1,
          [&](auto& spec) { spec.head_diameter.value = head < 30.0 ? 32.0 : 28.0; });
  hip.add("other-stem.dcm", 1, [](auto& spec) {
    spec.stem.length_mm += 40.0;
    spec.stem.half_width_mm += 2.5;
    spec.stem.tip_half_width_mm += 2.0;
  });
  hip.add("other-bone.dcm", 1, [](auto& spec) {
    spec.femur.shaft_radius_mm += 4.5;
    spec.femur.cortex_mm += 3.0;
  });
  const Result result = measure(hip.series(), {});

  const ComparisonResult& honest = comparison_with(result, "honest.dcm");
  EXPECT_EQ(honest.status, Status::kMeasured) << honest.reason;
  for (const char* id : {"implant_differs", "bone_differs", "stem_rises", "motion_implausible"}) {
    EXPECT_FALSE(has_flag(honest.flags, id)) << id;
  }
  const auto reason = [&](const std::string& file) {
    const ComparisonResult& c = comparison_with(result, file);
    EXPECT_EQ(c.status, Status::kNotMeasured) << file;
    return c.reason;
  };
  EXPECT_THAT(reason("mirrored.dcm"), HasSubstr("the film is stored mirrored"));
  EXPECT_THAT(reason("lateral.dcm"), HasSubstr("as on a lateral film or with the leg turned far"));
  EXPECT_THAT(reason("other-head.dcm"), HasSubstr("the head has another diameter"));
  EXPECT_THAT(reason("other-stem.dcm"), HasSubstr("do not show the same implant"));
  EXPECT_THAT(reason("other-bone.dcm"), HasSubstr("do not show the same bone"));

  // The honest pair the other way round: from the later film back the stem stood 6 mm higher, and
  // if the sheet has the dates exchanged as well, 6 mm of subsidence become 6 mm out of the bone.
  Series turned_round = hip.series();
  turned_round.films.resize(2);
  turned_round.films[0].role = Role::kFollowUp;
  turned_round.films[1].role = Role::kReference;
  const Result back = measure(turned_round, {});
  ASSERT_EQ(back.comparisons.size(), 1U);
  EXPECT_EQ(back.comparisons[0].status, Status::kMeasured) << back.comparisons[0].reason;
  EXPECT_FALSE(has_flag(back.comparisons[0].flags, "stem_rises"));
  turned_round.films[0].date = back.films[1].date;
  turned_round.films[1].date = back.films[0].date;
  const Result risen = measure(turned_round, {});
  ASSERT_EQ(risen.comparisons.size(), 1U);
  EXPECT_EQ(risen.comparisons[0].status, Status::kMeasured) << risen.comparisons[0].reason;
  EXPECT_TRUE(has_flag(risen.comparisons[0].flags, "stem_rises"));
}

// The other hip of a pelvis, without an implant, is what a film before surgery shows.
TEST(Doubt, FindsNoStemInANativeHip) {
  SimulatedHip hip;
  hip.add("native.dcm", 1, [](auto& spec) {
    phantom::FilmSpec& film = spec.films[1];
    film.field = phantom::FieldOfView::kPelvis;
    film.beam.pixel_pitch = Millimetres{0.375};
    film.beam.columns = 1120;
    film.beam.rows = 933;
    film.beam.centre_mm = {89.0, 55.0};
  });
  Series series = hip.series();
  series.side = *series.side == Side::kRight ? Side::kLeft : Side::kRight;
  const Result result = measure(series, {});
  EXPECT_EQ(result.films[0].status, Status::kNotMeasured);
  EXPECT_THAT(result.films[0].reason, HasSubstr("hip is replaced"));
}

// The lower end of the field 15 mm above the tip: the same motion as from the whole film, nothing
// about the tip or by zone.
TEST(Doubt, MeasuresAStemWhoseTipTheFieldCuts) {
  SimulatedHip hip;
  hip.add("reference.dcm", 0);
  hip.add("whole.dcm", 1);
  const Result whole = measure(hip.series(), {});
  ASSERT_TRUE(whole.comparisons[0].migration) << whole.comparisons[0].reason;
  const FilmResult& film = whole.films[1];
  const double mm_per_px = film.calibration->mm_per_px.value.value;
  hip.series().films.pop_back();
  hip.add("cut.dcm", 1, {}, Stored::kUpright,
          static_cast<int>(film.stem->tip->stored_px.y() - 15.0 / mm_per_px));
  Result cut = measure(hip.series(), {});
  ASSERT_TRUE(cut.comparisons[0].migration) << cut.comparisons[0].reason;
  EXPECT_TRUE(has_flag(cut.films[1].flags, "tip_outside_field"));
  EXPECT_FALSE(cut.films[1].stem->tip);
  for (const ZoneResult& zone : cut.films[1].zones) {
    EXPECT_EQ(zone.state, lucency::State::kNotSeen);
  }
  const auto& before = whole.comparisons[0].migration->subsidence;
  const auto& after = cut.comparisons[0].migration->subsidence;
  EXPECT_NEAR(after.value.value, before.value.value, std::hypot(after.u.value, before.u.value));
  EXPECT_TRUE(cut.comparisons[0].migration->subsidence_at_tip) << "the reference film shows it";

  hip.series().films[0].role = Role::kFollowUp;
  hip.series().films[1].role = Role::kReference;
  cut = measure(hip.series(), {});
  ASSERT_TRUE(cut.comparisons[0].migration) << cut.comparisons[0].reason;
  EXPECT_FALSE(cut.comparisons[0].migration->subsidence_at_tip);
  EXPECT_THAT(to_json(cut), testing::Not(HasSubstr("\"tip\":")));
}

/// Invented steps whose implant is found with these confidences on the right and on the left side.
Steps found_with(double right, double left, const std::string& wrong = "no stem is seen") {
  Steps steps = invented::steps();
  steps.find_implant = [=](const film::FilmImage& view,
                           const anatomy::ImplantOptions&) -> Expected<anatomy::Implant> {
    // A mirrored view maps its columns backwards onto the stored ones.
    const bool is_right = view.stored_from_view.linear(0, 0) > 0.0;
    anatomy::Implant found = invented::implant();
    if (!is_right) found.head.circle_px.centre.x() = invented::kWidth - 1 - 200.0;
    found.confidence = is_right ? right : left;
    if (found.confidence > 0.0) return found;
    return fail(ErrorKind::kCannotTell, "film", wrong, "check the film");
  };
  return steps;
}

std::string reason_when_found(double right, double left, const Series& series) {
  const Result result = measure_with(series, {}, found_with(right, left));
  return result.films[0].reason;
}

TEST(Doubt, AsksTheOtherSideWhenTheStatedOneIsUnsure) {
  const Series series = invented::series({"a.dcm"});
  EXPECT_THAT(reason_when_found(0.7, 0.9, series), HasSubstr("stored mirrored"));
  EXPECT_THAT(reason_when_found(0.0, 0.9, series), HasSubstr("as in a left hip, not a right one"));
  EXPECT_EQ(reason_when_found(0.85, 0.9, series), "");  // no surer there
  EXPECT_EQ(reason_when_found(0.96, 1.0, series), "");  // sure enough not to ask
  EXPECT_THAT(reason_when_found(0.0, 0.6, series), HasSubstr("no stem is seen"));
}

// Both hips are replaced; the field cuts the one that is asked for. Nothing is mirrored.
TEST(Doubt, AStemThatTheFieldCutsIsNoMirroredFilm) {
  const Result result = measure_with(invented::series({"a.dcm"}), {},
                                     found_with(0.0, 0.9, anatomy::kStemLeavesField));
  EXPECT_THAT(result.films[0].reason, HasSubstr("outside of the film"));
}

/// What is told of the stem of a film on which none can be followed.
StemShows shown_when_refused(const std::string& wrong, const Steps& from = invented::steps(),
                             std::optional<Side> side = Side::kRight) {
  Steps steps = found_with(0.0, 0.0, wrong);
  steps.read = from.read;
  Series series = invented::series({"a.dcm"});
  series.side = side;
  return measure_with(series, {}, steps).films[0].stem_shows;
}

// A batch sets films aside that show no stem: they would be from before the surgery.
TEST(Doubt, AStemThatIsCutOrHiddenIsNotTakenForNone) {
  Steps cut_off = invented::steps();
  cut_off.read = [](const std::filesystem::path& file) -> Expected<film::FilmImage> {
    film::FilmImage out = invented::image(file.filename().string());
    for (float& grey : out.pixels.values) grey = std::min(grey, 700.0F);
    return out;
  };
  for (const auto& side : {std::optional(Side::kRight), std::optional<Side>()}) {
    EXPECT_EQ(shown_when_refused("no stem is seen", invented::steps(), side), StemShows::kNo);
    EXPECT_EQ(shown_when_refused(anatomy::kStemLeavesField, invented::steps(), side),
              StemShows::kUntold);
    EXPECT_EQ(shown_when_refused("no stem is seen", cut_off, side), StemShows::kUntold);
  }
}

/// A film whose implant and bone carry these flags.
FilmResult film_with(const std::vector<std::string>& of_implant,
                     const std::vector<std::string>& of_bone, bool head_by_hand = false) {
  const auto add = [](const std::vector<std::string>& ids, std::vector<Flag>& flags) {
    for (const std::string& id : ids) flags.push_back({id, "Invented."});
  };
  Steps steps = invented::steps();
  steps.find_implant = [=, find = steps.find_implant](const film::FilmImage& view,
                                                      const anatomy::ImplantOptions& options) {
    auto found = find(view, options);
    if (found) add(of_implant, found->flags);
    return found;
  };
  steps.find_femur = [=, find = steps.find_femur](const film::FilmImage& view,
                                                  const anatomy::Implant& implant,
                                                  const anatomy::FemurOptions& options) {
    auto found = find(view, implant, options);
    if (found) add(of_bone, found->flags);
    return found;
  };
  Series series = invented::series({"a.dcm"});
  if (head_by_hand) series.films[0].landmarks_in_stored_px.head_centre_px = Vec2(200.0, 100.0);
  return measure_with(series, {}, steps).films[0];
}

// A hip before its operation: head and femur in the place of head and stem, and no shaft about
// them.
TEST(Doubt, BoneIsNotMeasuredAsAnImplant) {
  const std::string no_shaft = "shaft_axis_not_seen";
  for (const std::string doubt : {"implant_uncertain", "head_in_doubt", "head_off_neck"}) {
    const FilmResult film = film_with({doubt}, {no_shaft});
    EXPECT_EQ(film.status, Status::kNotMeasured) << doubt;
    EXPECT_THAT(film.reason, HasSubstr("may be bone")) << doubt;
    EXPECT_EQ(film.stem_shows, StemShows::kNo) << doubt;
    EXPECT_EQ(film_with({doubt}, {}).status, Status::kMeasured) << "a shaft is seen about it";
    EXPECT_EQ(film_with({doubt}, {no_shaft}, true).status, Status::kMeasured) << "by hand";
  }
  const FilmResult cut = film_with({"implant_uncertain", "tip_outside_field"}, {no_shaft});
  EXPECT_THAT(cut.reason, AllOf(HasSubstr("lies within the field"), HasSubstr("the whole stem")));
  EXPECT_EQ(film_with({}, {no_shaft}).status, Status::kMeasured);
  EXPECT_EQ(film_with({"implant_uncertain", "head_in_doubt"}, {}).status, Status::kNotMeasured);
  EXPECT_EQ(film_with({"head_off_neck", "head_in_doubt"}, {}).status, Status::kMeasured)
      << "one head in doubt";
}

/// Two hips on one film: what is taken for the right one's stem has grey `right` and is found with
/// a confidence of 0.7; the left one's has `left` and 0.95. The film is 100 elsewhere.
std::string reason_with_two_hips(float right, float left) {
  constexpr int kRight = 100;  // columns of the stored matrix where the stems begin
  constexpr int kLeft = 220;
  constexpr int kWide = 20;
  Steps steps = invented::steps();
  steps.read = [=](const std::filesystem::path& file) -> Expected<film::FilmImage> {
    film::FilmImage out = invented::image(file.filename().string());
    for (int y = 0; y < invented::kHeight; ++y) {
      for (int x = 0; x < invented::kWidth; ++x) {
        const bool in_right = x >= kRight && x < kRight + kWide;
        const bool in_left = x >= kLeft && x < kLeft + kWide;
        out.pixels.at(x, y) = in_right ? right : (in_left ? left : 100.0F);
      }
    }
    return out;
  };
  steps.find_implant = [=](const film::FilmImage& view,
                           const anatomy::ImplantOptions&) -> Expected<anatomy::Implant> {
    const bool is_right = view.stored_from_view.linear(0, 0) > 0.0;
    anatomy::Implant found = invented::implant();
    found.confidence = is_right ? 0.7 : 0.95;
    const int first = is_right ? kRight : invented::kWidth - kLeft - kWide;
    for (int y = 0; y < invented::kHeight; ++y) {
      for (int x = first; x < first + kWide; ++x) found.stem.at(x, y) = 1;
    }
    return found;
  };
  return measure_with(invented::series({"a.dcm"}), {}, steps).films[0].reason;
}

// A film stored mirrored, or a wrong side, puts the hip that was not operated where a stem is
// looked for: on simulated films its femur passed for a stem that the field cuts, and the
// subsidence was 5 mm off.
TEST(Doubt, AFemurOfBoneBesideAStemOfMetalIsTheOtherHip) {
  EXPECT_THAT(reason_with_two_hips(300.0F, 900.0F), HasSubstr("stored mirrored"));  // 200 of 800
  EXPECT_EQ(reason_with_two_hips(600.0F, 900.0F), "") << "both hips are replaced";
}

TEST(Doubt, LeavesTheSideAloneWhereTheStemWasMarkedByHand) {
  Series series = invented::series({"a.dcm"});
  series.films[0].landmarks_in_stored_px.stem_tip_px = Vec2(150.0, 400.0);
  EXPECT_EQ(reason_when_found(0.7, 0.9, series), "");
}

/// Invented steps whose head lies so many mm off the stem's axis (0.5 mm per px).
Result with_head_off_axis(double mm) {
  Steps steps = invented::steps();
  steps.find_implant = [=](const film::FilmImage&,
                           const anatomy::ImplantOptions&) -> Expected<anatomy::Implant> {
    anatomy::Implant found = invented::implant();
    found.head.circle_px.centre.x() = 150.0 + 2.0 * mm;
    found.confidence = 1.0;
    return found;
  };
  return measure_with(invented::series({"a.dcm"}), {}, steps);
}

TEST(Doubt, AHeadOnTheStemsAxisIsNoFrontalView) {
  EXPECT_THAT(with_head_off_axis(19.0).films[0].reason, HasSubstr("the head lies only 19 mm off"));
  EXPECT_THAT(with_head_off_axis(-30.0).films[0].reason, HasSubstr("the head lies only 0 mm off"));
  const Result turned = with_head_off_axis(24.0);
  EXPECT_EQ(turned.films[0].status, Status::kMeasured);
  EXPECT_TRUE(has_flag(turned.films[0].flags, "view_turned"));
  EXPECT_FALSE(has_flag(with_head_off_axis(26.0).films[0].flags, "view_turned"));
}

TEST(Doubt, AHeadDiameterThatNothingContradictsSaysSo) {
  Series series = invented::series({"a.dcm", "b.dcm"});
  const auto unchecked = [&](const Steps& steps) {
    return has_flag(measure_with(series, {}, steps).flags, "head_diameter_unchecked");
  };
  EXPECT_TRUE(unchecked(invented::steps()));
  Steps with_spacing = invented::steps();
  with_spacing.read = [](const std::filesystem::path& file) -> Expected<film::FilmImage> {
    film::FilmImage image = invented::image(file.filename().string());
    image.facts.scale.imager_pixel_spacing = film::Spacing{0.6, 0.6};
    return image;
  };
  EXPECT_FALSE(unchecked(with_spacing));
  series.stem.length = Millimetres{135.0};
  EXPECT_FALSE(unchecked(invented::steps()));
  series.stem = {};
  EXPECT_FALSE(has_flag(
      measure_with(series, {.without_scale = WithoutScale::kAcceptPixels}, invented::steps()).flags,
      "head_diameter_unchecked"));
}

}  // namespace
}  // namespace tidemark::followup
