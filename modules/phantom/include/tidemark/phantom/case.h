#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/hip.h"
#include "tidemark/core/units.h"
#include "tidemark/phantom/beam.h"
#include "tidemark/phantom/cavity.h"
#include "tidemark/phantom/gap.h"

namespace tidemark::phantom {

/// Motion of the stem with its head in the femur's coronal plane: a turn about the stem's reference
/// point and a shift of that point. Signs of docs/design.md.
struct Motion {
  Millimetres subsidence;  ///< + distal along the shaft axis
  Millimetres medial;      ///< + medial
  Degrees tilt_change;     ///< + varus
};

/// How the leg lies. Applied to femur and stem about the centre of the head, rotation first, then
/// flexion, then abduction.
struct Pose {
  Degrees flexion;    ///< about the medio-lateral axis, + knee towards the tube
  Degrees abduction;  ///< in the film plane, + knee lateral
  Degrees rotation;   ///< about the shaft, + internal
};

/// Shape of an invented femur. Lengths in mm for scale 1; means are common anatomy, no one source.
struct FemurShape {
  double scale = 1.0;
  double offset_mm = 43.0;       ///< head centre medial of the shaft axis
  double head_height_mm = 52.0;  ///< head centre above the lesser trochanter
  double anteversion_deg = 12.0;
  double shaft_radius_mm = 13.8;  ///< outer, at the isthmus
  double cortex_mm = 6.5;         ///< at the isthmus
  double cortex_start = 0.0;      ///< level (mm below LT) at which half of the flare is over, shift
  double lesser_size = 1.0;
  double lesser_level_mm = 0.0;   ///< shift along the shaft
  double lesser_turn_deg = 48.0;  ///< direction of the lesser trochanter, 0 medial, 90 posterior
  double greater_size = 1.0;
  double greater_height_mm = 0.0;  ///< shift of its tip, + proximal
  double bow_mm = 2.0;             ///< anterior bow over 150 mm
  std::uint64_t texture_seed = 1;
};

/// Shape of the stem, mm. The stem frame has its origin on the axis at the shoulder's level.
struct StemShape {
  double length_mm = 122.0;  ///< shoulder to tip
  double neck_angle_deg = 133.0;
  double head_offset_mm = 41.0;    ///< head centre medial of the axis
  double half_width_mm = 6.6;      ///< of the taper at the shoulder
  double tip_half_width_mm = 4.4;  ///< of the taper at the tip
  double half_depth_mm = 6.2;      ///< front to back at the shoulder
  double tip_half_depth_mm = 3.6;
  double flare_mm = 4.0;  ///< lateral bulge at the shoulder
  double flare_length_mm = 48.0;
  double medial_length_mm = 68.0;  ///< end of the medial curve below the shoulder
  double neck_radius_mm = 6.4;
};

struct CupShape {
  double outer_diameter_mm = 54.0;
  double shell_mm = 3.5;
  double inclination_deg = 42.0;
  double anteversion_deg = 18.0;
};

/// How thick the patient is: half depth front to back of the trunk, and fat under the skin, mm.
struct BodyShape {
  double half_depth_mm = 98.0;
  double fat_mm = 18.0;
  double thigh_radius_mm = 78.0;
};

/// A bone taken from a closed outer surface instead of an invented one.
struct SurfaceBones {
  std::optional<std::filesystem::path> femur;   ///< left or right femur
  std::optional<std::filesystem::path> pelvis;  ///< both hip bones, or the one of the hip's side
  std::string axes = "LPS";                     ///< of both files, see read_surface
  Side femur_side = Side::kLeft;                ///< of the file's femur
};

/// Curve from log exposure to grey.
enum class GreyCurve { kLinear, kSigmoid };
/// What a great pixel value means: MONOCHROME1 = dark bone, MONOCHROME2 = bright bone.
enum class Photometric { kMonochrome1, kMonochrome2 };

/// What the X-ray room's software does with the exposure.
struct Processing {
  int bits_stored = 12;
  Photometric photometric = Photometric::kMonochrome2;
  GreyCurve curve = GreyCurve::kSigmoid;
  double edge_gain = 0.0;       ///< unsharp mask: this times (image - smoothed image) is added
  double edge_radius_mm = 1.5;  ///< standard deviation of its smoothing, on the detector
  double latitude = 0.7;        ///< contrast kept in structures larger than about 20 mm
  double window_shift = 0.0;    ///< of the window's centre, in parts of its width
  double window_scale = 1.0;
};

/// Tube, grid and detector.
struct Exposure {
  double quanta_per_pixel = 1500.0;  ///< behind the body's median, for a pitch of 0.14 mm
  double scatter_to_primary = 0.35;  ///< behind the body's median, after the grid
  Millimetres focal_spot{1.0};
  Millimetres detector_blur{0.11};  ///< standard deviation
};

/// Lead shutters at the tube: only this rectangle about the middle of the detector is exposed.
struct Collimation {
  Millimetres half_width;   ///< on the detector
  Millimetres half_height;  ///< on the detector
  Degrees turn;             ///< against the detector
};

/// What else is on a film.
struct Clutter {
  int staples = 0;      ///< metal staples in the skin beside the hip
  int wires = 0;        ///< cerclage wires about the shaft below the lesser trochanter
  bool letter = false;  ///< lead letter of the side in the upper lateral corner
  std::optional<Collimation> collimation;
};

/// Whether the header tells the truth about which grey is dense.
enum class PhotometricTag { kTrue, kWrong };

/// What a lateral film's PatientOrientation says: which way its back lies, or what a frontal film's
/// says, as where the room leaves it at that.
enum class FacingTag { kAsFrontal, kTrue };

enum class FieldOfView { kHip, kPelvis };

/// One film.
struct FilmSpec {
  std::string date = "2024-03-02";  ///< ISO 8601
  FieldOfView field = FieldOfView::kHip;
  /// What the header and the sheet call it. kLateral needs a pose rotated by about -90 degrees.
  View view = View::kAp;
  Pose pose;
  Motion motion;  ///< since the first film; zero on that one
  Beam beam;
  Exposure exposure;
  Processing processing;
  PhotometricTag photometric_tag = PhotometricTag::kTrue;
  FacingTag facing_tag = FacingTag::kAsFrontal;  ///< of a lateral film
  Clutter clutter;
  std::vector<Gap> gaps;         ///< lucent lines; those of one zone and interface do not overlap
  std::vector<Cavity> cavities;  ///< focal loss of bone; in one order on all films of a hip
  std::uint64_t noise_seed = 1;
};

/// What stands in the other hip's place on an AP pelvis.
enum class OtherHip { kNatural, kReplaced };

/// One hip with its films.
struct CaseSpec {
  std::uint64_t seed = 0;
  int number = 0;  ///< of the hip, for its name
  Side side = Side::kRight;
  std::string surgery_date = "2024-03-01";
  Millimetres head_diameter{32.0};
  FemurShape femur;
  StemShape stem;
  CupShape cup;
  BodyShape body;
  Degrees seat_tilt{0.0};        ///< stem axis against shaft axis at surgery, varus positive
  Millimetres seat_medial{0.0};  ///< stem axis against the middle of the canal
  OtherHip other_hip = OtherHip::kNatural;
  SurfaceBones surfaces;
  std::optional<Millimetres> mantle;     ///< of cement about the stem; absent: uncemented
  std::optional<Compaction> compaction;  ///< absent: cancellous bone as it grew
  std::vector<FilmSpec> films;
};

/// kSeat: migration 0 to 8 mm, everyday poses. kStill: no migration, large changes of pose.
/// kHard: like kSeat on films that nobody would choose. kLucency: lucent lines by zone that appear
/// and widen, hardly any migration, half of the films seen obliquely; lateral films have lines of
/// their own in zones 8 to 14 and hold none of the frontal films'. kLysis: cavities in the bone
/// beside the stem that appear and grow in two hips of three, little migration, no lines.
enum class CaseSet { kSeat, kStill, kHard, kLucency, kLysis };

struct CaseOptions {
  CaseSet set = CaseSet::kSeat;
  int follow_ups = 1;
  /// Lateral films, listed last: 1 on the day of the reference film, 2 also on that of the last
  /// follow-up film.
  int lateral = 0;
  Millimetres pixel_pitch{0.14};  ///< the field stays the same: a coarser pitch is a smaller film
  SurfaceBones surfaces;
};

/// The hip with this number of a seed: anatomy, stem, cup, side, films, all invented from it.
[[nodiscard]] CaseSpec random_case(std::uint64_t seed, int number, const CaseOptions& options);

/// Three films of one right hip: 2.5 mm of subsidence by the first follow-up, then none.
[[nodiscard]] CaseSpec demo_case(Millimetres pixel_pitch);

}  // namespace tidemark::phantom
