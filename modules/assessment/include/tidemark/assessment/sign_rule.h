#pragma once

#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/hip.h"
#include "tidemark/lucency/lucency.h"

namespace tidemark::assessment {

// The rules of decision tables: trees of questions in three-valued logic (Kleene, Introduction to
// Metamathematics, 1952): "all" is no as soon as one part is no, "any" is yes as soon as one is
// yes, and what cannot be told stays so. In files: docs/schemas/signs-1.json.

/// A number that a rule asks for. Lengths in mm, angles in degrees; distal, medial, varus, thicker
/// and higher are positive.
enum class Measure {
  kSubsidence,       ///< of the stem since the reference film
  kLateSubsidence,   ///< late_change() of course.h
  kMedial,           ///< of the stem's reference point since the reference film
  kMedialProximal,   ///< of the point of the stem's axis at the level of the shoulder
  kMedialThird,      ///< a third of the way from there to the tip
  kMedialTwoThirds,  ///< two thirds of the way
  kMedialTip,        ///< at the tip
  kTiltChange,
  kCalcarChange,  ///< height of the cut neck
  kCortexChange,  ///< thickness beside a zone
};

/// A thinner line may be there unseen (lucency/change.cpp, house choice): one that did not grow by
/// more, mm, at the same places of the stem is not new.
inline constexpr double kUnseenLineMm = 0.3;

/// What is asked of radiolucent lines.
enum class LineQuestion {
  kExtent,       ///< whether lines take at least a share of the interface
  kAny,          ///< whether there is one in any of the zones
  kNew,          ///< whether one is there that was not on the reference film, by both films' zones
                 ///< and by its widths at the same places of the stem
  kProgressive,  ///< whether one grew or spread since the reference film
  kRim,          ///< whether one has a bright (sclerotic) rim
};

/// Of which interface lines take a share.
enum class LineShare {
  kVisible,  ///< of the part that the film shows, at least half of the zones asked for
  kWhole,    ///< of all of it: what the film does not show may be line or not
};

/// A question about lines.
struct LineRule {
  LineQuestion question = LineQuestion::kAny;
  lucency::Interface interface = lucency::Interface::kStemBone;
  std::vector<int> zones;  ///< 1 to 7
  /// Only lines that reach this: of a zone its widest place, with kExtent place by place.
  std::optional<double> width_mm;
  double at_least = 0.0;  ///< kExtent: the share
  LineShare share = LineShare::kVisible;
  bool past_first_centimetre = false;  ///< kExtent: zones 1 and 7 from 10 mm below the cut neck on
};

/// A number against a limit, by the guard bands of judge.h.
struct MeasureRule {
  Measure measure = Measure::kSubsidence;
  int zone = 0;  ///< of kCortexChange
  std::optional<double> above;
  std::optional<double> below;
  bool size = false;  ///< the size of the number is asked for, not its sign
};

/// One question, with its parts.
struct Rule {
  enum class Op {
    kAll,
    kAny,
    kNot,
    kSign,          ///< the answer of a sign that stands before
    kSwitch,        ///< the part that was chosen
    kMeasure,       ///< a number against a limit
    kMoved,         ///< any of some numbers told from zero, at 5 % for all of them together
    kLines,         ///< radiolucent lines
    kPedestal,      ///< a shelf of bone beyond the tip
    kNewPedestal,   ///< one that the reference film does not show
    kPrinciple,     ///< of a cemented stem
    kPattern,       ///< course over time, on the last film
    kFromDays,      ///< film taken so many days after surgery or more
    kFlagged,       ///< the comparison carries a flag
    kNotLookedFor,  ///< the program does not look for it: cannot be told
    kCannotShow,    ///< no film could show it: cannot be told
  };
  Op op = Op::kNotLookedFor;
  std::vector<Rule> parts;           ///< of kAll, kAny, kNot, kSwitch
  std::string name;                  ///< sign or switch; what is not looked for; why not shown
  std::vector<std::string> choices;  ///< kSwitch: one for each part
  std::vector<Measure> measures;     ///< kMoved
  MeasureRule measure;               ///< kMeasure
  LineRule lines;                    ///< kLines
  CementPrinciple principle = CementPrinciple::kPolishedTaper;  ///< kPrinciple
  std::vector<std::string> patterns;                            ///< kPattern: as code_of(Pattern)
  int days = 0;                                                 ///< kFromDays
};

}  // namespace tidemark::assessment
