#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "../assessment/invented_hip.h"
#include "../followup/invented.h"
#include "tidemark/assessment/assess.h"
#include "tidemark/core/date.h"
#include "tidemark/report/document.h"

// What is judged of a hip, in both languages: the German page says what the English one says.
namespace tidemark::report {
namespace {

using assessment::HipEvidence;
using assessment::invented::hip;
using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

/// A result whose films and comparisons are those of the evidence.
followup::Result result_of(const HipEvidence& evidence) {
  followup::Result out;
  for (const auto& film : evidence.films) {
    followup::FilmResult& one = out.films.emplace_back();
    one.file = film.name;
    one.date = film.date;
    one.days_from_surgery = film.days_from_surgery;
  }
  out.films[0].role = followup::Role::kReference;
  for (const auto& pair : evidence.comparisons) {
    followup::ComparisonResult& one = out.comparisons.emplace_back();
    one.reference = pair.reference;
    one.follow_up = pair.follow_up;
    one.days = pair.days;
    one.migration = pair.migration;
    one.reason = pair.reason;
    one.flags = pair.flags;
    if (pair.migration) one.status = followup::Status::kMeasured;
  }
  out.flags = evidence.flags;
  out.assessment =
      assessment::assess(evidence, assessment::default_criteria(evidence.stem), nullptr);
  return out;
}

std::string plain(std::string text) {
  for (const auto& [from, to] : {std::pair{"\u00A0", " "}, std::pair{"\u2212", "-"}}) {
    for (auto at = text.find(from); at != std::string::npos; at = text.find(from)) {
      text.replace(at, std::string(from).size(), to);
    }
  }
  return text;
}

Headline headline(const HipEvidence& evidence, Language language) {
  return document_of(result_of(evidence), language).headline;
}

std::string german(const HipEvidence& evidence) {
  const Phrase sentence = headline(evidence, Language::kGerman).sentence;
  EXPECT_FALSE(sentence.in_english);
  return plain(sentence.text);
}

/// What stands below the judged sentence.
std::string measured(const HipEvidence& evidence, Language language) {
  const Headline told = headline(evidence, language);
  EXPECT_TRUE(told.measured);
  return told.measured ? plain(told.measured->text) : "";
}

/// The German words of a criterion on the last comparison.
std::string finding(const HipEvidence& evidence, const std::string& criterion) {
  const auto document = document_of(result_of(evidence), Language::kGerman);
  for (const Section& section : document.sections) {
    if (section.id != "criteria") continue;
    const auto& table = std::get<Table>(section.blocks.at(1));  // the latest film's
    for (const auto& row : table.rows) {
      if (row[0].phrase.text == criterion) return plain(row[3].phrase.text);
    }
  }
  ADD_FAILURE() << "no " << criterion;
  return {};
}

/// The German sentences of the course over time.
std::string course(const HipEvidence& evidence) {
  std::string out;
  for (const Section& section : document_of(result_of(evidence), Language::kGerman).sections) {
    if (section.id != "course") continue;
    for (const auto& block : section.blocks) {
      const auto* paragraph = std::get_if<Paragraph>(&block);
      if (paragraph == nullptr) continue;
      EXPECT_FALSE(paragraph->phrase.in_english) << paragraph->phrase.text;
      out += plain(paragraph->phrase.text) + " ";
    }
  }
  return out;
}

TEST(JudgedWords, TheCourseSinceALateReferenceFilmSaysSinceWhen) {
  EXPECT_THAT(course(hip({{183, 0.05, 0.2}, {365, 0.1, 0.2}, {760, 0.1, 0.2}}, 60)),
              HasSubstr("frühe Bewegung vor dem Ausgangsbild des Tages 60 nach der Operation ist "
                        "nicht zu sehen. Bisher am wahrscheinlichsten: Der Schaft sank vom "
                        "Ausgangsbild des Tages 60 bis sechs Monate nach der Operation um weniger "
                        "als 1 mm und seither um weniger als 1 mm (Wahrscheinlichkeit mehr als"));
  EXPECT_THAT(course(hip({{365, 3.4, 0.15}, {730, 5.0, 0.15}, {1095, 6.6, 0.15}}, 30)),
              AllOf(HasSubstr("Der Schaft sank vom Ausgangsbild des Tages 30 bis sechs Monate"),
                    HasSubstr("es geht weiter")));
  EXPECT_THAT(course(hip({{800, 2.4, 0.15}, {1200, 4.0, 0.15}}, 400)),
              HasSubstr("Der Schaft sank seit dem Ausgangsbild des Tages 400 nach der Operation "
                        "um etwa "));
}

// 0.05 mm and 4.0 degrees: the tilt is what stands out, and both pages give its number.
TEST(JudgedWords, TheGermanHeadlineHasTheTiltAndTheShift) {
  const HipEvidence tilted = hip({{730, 0.05, 0.2, 4.0, 0.2, 3.0}});
  EXPECT_THAT(
      german(tilted),
      AllOf(HasSubstr(
                "Der Schaft liegt anders als auf dem Ausgangsbild: Einsinken +0,05 ± "
                "0,39 mm am Bezugspunkt, Medialwanderung +3,00 ± 0,39 mm, Kippung +4,00 ± 0,39°"),
            HasSubstr("Über der Grenze von M-TILT-3 und M-TILT-2")));
  EXPECT_THAT(plain(headline(tilted, Language::kEnglish).sentence.text),
              HasSubstr("change of tilt +4.00 ± 0.39 degrees"));
  EXPECT_THAT(german(hip({{730, 0.05, 0.2}})),
              AllOf(HasSubstr("Keine Bewegung des Schafts über die Unsicherheit hinaus"),
                    Not(HasSubstr("Medialwanderung"))));
}

TEST(JudgedWords, TheHeadlineNamesThePoint) {
  HipEvidence tilted = hip({{93, 0.5, 0.66}});
  tilted.comparisons[0].migration->subsidence_at_head_centre = assessment::invented::mm(2.9, 0.25);
  EXPECT_THAT(german(tilted),
              HasSubstr("Der Schaft liegt anders als auf dem Ausgangsbild: Einsinken +0,5 ± 1,3 "
                        "mm am Bezugspunkt, am Kopfmittelpunkt +2,90 ± 0,49 mm, Kippung"));
  EXPECT_THAT(measured(tilted, Language::kEnglish),
              HasSubstr("no motion of the stem along the femur stands out from the uncertainty of "
                        "the measurement at its reference point: 0.5"));
  EXPECT_THAT(measured(tilted, Language::kGerman), HasSubstr("Bezugspunkt"));
  // Without an assessment the measured sentence is all that stands there.
  followup::Result bare = result_of(tilted);
  bare.assessment.reset();
  EXPECT_THAT(plain(document_of(bare, Language::kEnglish).headline.sentence.text),
              HasSubstr("The head's centre did move along it: +2.90 ± 0.49 mm (distal positive)."));
  EXPECT_THAT(measured(hip({{730, 3.0, 0.3}}), Language::kEnglish),
              AllOf(HasSubstr("the stem stands 3.0"), HasSubstr("at its reference point")));
}

TEST(JudgedWords, TheGermanPageSaysThatANumberFinerThanTheFilmsIsPassed) {
  const HipEvidence far = hip({{730, 9.0, 1.7}}, 3);
  EXPECT_THAT(
      german(far),
      HasSubstr("Der Wert liegt sicher über der Zahl von M-KRISMER (Wahrscheinlichkeit mehr "
                "als 99 %) und M-STREIT (Wahrscheinlichkeit mehr als 99 %), wofür die "
                "Bilder nicht fein genug für ein Urteil sind."));
  EXPECT_THAT(
      finding(far, "M-KRISMER"),
      HasSubstr("Der Wert liegt trotzdem darüber, mit einer Wahrscheinlichkeit von mehr als "
                "99 %."));
}

TEST(JudgedWords, TheGermanHeadlineHasWhatOtherFilmsSay) {
  EXPECT_THAT(german(hip({{365, 6.0, 0.3}, {730, 0.2, 0.3}})),
              AllOf(HasSubstr("lag schon über der Zahl von M-KRISMER und M-STREIT"),
                    HasSubstr("wäre der Schaft aufgestiegen")));
  EXPECT_THAT(german(assessment::invented::with_undated(hip({{365, 0.1}, {730, 0.2}}), 0)),
              HasSubstr("Das Bild film-1 hat kein Datum und ist vielleicht später"));
  EXPECT_THAT(german(hip({{49, 4.5, 0.3}, {730, 1.0, 0.2}})),
              HasSubstr("lag über der Grenze von M-ALN"));
  EXPECT_THAT(german(hip({{365, 5.0, 0.3}})),
              AllOf(HasSubstr("schon über der Zahl von M-KRISMER und M-STREIT, die später gilt"),
                    HasSubstr("über der Zahl von M-ALN, die früher galt")));
  EXPECT_THAT(finding(hip({{1826, 5.0, 0.3}}), "M-KRISMER"), Not(HasSubstr("schon")));
}

// u 1.0 mm, u95 1.96 mm: 6.0 mm higher is 4.0 to 8.0 mm higher, on both pages.
TEST(JudgedWords, ARiseHasItsIntervalInTheSameSense) {
  const HipEvidence risen = hip({{730, -6.0, 1.0}});
  EXPECT_THAT(measured(risen, Language::kEnglish), HasSubstr("(95 % interval 4.0 to 8.0 mm)"));
  EXPECT_THAT(measured(risen, Language::kGerman), HasSubstr("(95-%-Intervall 4,0 bis 8,0 mm)"));
  // As it stood before the reference film.
  EXPECT_THAT(measured(hip({{-30, 6.0, 1.0}}), Language::kEnglish),
              AllOf(HasSubstr("6.0 mm higher"), HasSubstr("(95 % interval 4.0 to 8.0 mm)")));
}

TEST(JudgedWords, TheGermanHeadlineSaysThatTheStemStillMoves) {
  EXPECT_THAT(german(hip({{183, 0.1, 0.08}, {365, 0.3, 0.08}, {730, 1.32, 0.08}}, 3)),
              HasSubstr("Alle Bilder zusammen zeigen einen Schaft, der anfangs stand und später "
                        "einsank."));
  EXPECT_THAT(german(hip({{183, 1.9, 0.08}, {365, 2.5, 0.08}, {730, 3.9, 0.08}}, 3)),
              HasSubstr("Alle Bilder zusammen zeigen einen Schaft, der nach sechs Monaten weiter "
                        "einsinkt."));
}

TEST(JudgedWords, DoubtsAndFlagsStandOnceAndTranslated) {
  HipEvidence flagged = hip({{730, 0.3, 0.2}});
  flagged.comparisons[0].flags = {{"axes_disagree",
                                   "The axes of stem and shaft give another tilt change than the "
                                   "alignment of the bone."}};
  flagged.flags = {{"date_unknown", "Neither the sheet nor the file dates this film."}};
  for (const Language language : {Language::kEnglish, Language::kGerman}) {
    const Headline told = headline(flagged, language);
    EXPECT_EQ(told.finding, Finding::kOpen);
    int axes = 0;
    for (const Phrase& doubt : told.doubts) {
      EXPECT_FALSE(doubt.in_english) << doubt.text;
      axes += doubt.text.starts_with("The axes of stem") || doubt.text.starts_with("Die Achsen");
    }
    EXPECT_EQ(axes, 1);
  }
  EXPECT_THAT(finding(flagged, "M-KRISMER"), HasSubstr("diese Hüfte, ihren Maßstab oder ihre "
                                                       "Ausrichtung zeigen (axes_disagree)"));
}

// EFORT Open Rev 6 (2021) 331: 1.07 mm at two years on average, which is what N-TAPER is for.
TEST(JudgedWords, TheGermanTableHasTheAverage) {
  HipEvidence taper = hip({{730, 1.3, 0.3}});
  taper.stem = {Fixation::kCemented, CementPrinciple::kPolishedTaper};
  EXPECT_THAT(finding(taper, "N-TAPER"),
              AllOf(HasSubstr("Einsinken +1,30 ± 0,59 mm am Tag 730 nach der Operation"),
                    HasSubstr("solche Schäfte hatten dann im Mittel Einsinken 1,1 mm"),
                    HasSubstr("Das ist keine Grenze.")));
  HipEvidence early = hip({{100, 1.3, 0.3}});
  early.stem = taper.stem;
  EXPECT_THAT(finding(early, "N-TAPER"), HasSubstr("für diese Zeit ist kein Mittelwert bekannt"));
}

TEST(JudgedWords, TheGermanTableHasWindowsReasonsAndProbabilities) {
  EXPECT_THAT(finding(hip({{365, 5.0, 0.3}}), "M-KRISMER"),
              HasSubstr("gilt mit 24 Monaten (plus oder minus 3 Monate). Gemessen: Einsinken +5,00 "
                        "± 0,59 mm am Tag 365 nach der Operation, mit einer Wahrscheinlichkeit von "
                        "mehr als 99 % schon "
                        "über dieser Zahl."));
  EXPECT_THAT(finding(hip({{730, 1.99, 0.3}}), "M-KRISMER"), HasSubstr("ist 94,8 %; ein Urteil"));
  HipEvidence refused = hip({{730, 1.0}});
  refused.comparisons[0].migration.reset();
  refused.comparisons[0].reason = "nothing gives the scale; state the diameter of the head";
  EXPECT_THAT(finding(refused, "M-KRISMER"),
              HasSubstr("Nicht gemessen: der Vergleich ist nicht gemessen: nichts nennt den "
                        "Maßstab; den Kopfdurchmesser angeben."));
  const HipEvidence undated = assessment::invented::with_undated(hip({{730, 0.2}}), 0);
  EXPECT_THAT(finding(undated, "M-KRISMER"),
              AllOf(HasSubstr("gilt mit 24 Monaten"), HasSubstr("Einsinken +0,20 ± 0,59 mm"),
                    HasSubstr("aber das Datum des Bildes ist nicht bekannt")));
  EXPECT_THAT(finding(assessment::invented::without_surgery(hip({{731, 0.2}})), "M-KRISMER"),
              AllOf(HasSubstr("am Tag 730 nach dem Ausgangsbild"),
                    HasSubstr("wie lange nach der Operation das Ausgangsbild entstand")));
}

/// The figures of the course with their caption.
Figures figures(const HipEvidence& evidence, Language language = Language::kEnglish) {
  for (const Section& section : document_of(result_of(evidence), language).sections) {
    if (section.id != "course") continue;
    for (const auto& block : section.blocks) {
      if (const auto* found = std::get_if<Figures>(&block)) return *found;
    }
  }
  ADD_FAILURE() << "no figures";
  return {{{}, {}}, {}};
}

// What counts from a film of day 120 no limit of the whole motion holds for; of one of day 45 the
// points do not show what came before it.
TEST(JudgedWords, LimitsAreDrawnWhereTheReferenceFilmLetsThem) {
  const std::vector<assessment::invented::Visit> visits{{365, 0.3, 0.2}, {730, 0.4, 0.2}};
  EXPECT_THAT(figures(hip(visits, 3)).figures[0].description, HasSubstr("M-KRISMER"));
  EXPECT_THAT(figures(hip(visits, 3)).caption, Not(HasSubstr("count from")));
  const Figures late = figures(hip(visits, 45));
  EXPECT_THAT(late.figures[0].description, HasSubstr("M-KRISMER"));
  EXPECT_THAT(
      late.caption,
      HasSubstr("The numbers count from the reference film of day 45 after surgery, and the "
                "limits from surgery: a point short of a limit may lie beyond it."));
  EXPECT_THAT(figures(hip(visits, 45), Language::kGerman).caption,
              HasSubstr("Ausgangsbild des Tages 45 nach der Operation"));
  for (const Figure& one : figures(hip(visits, 120)).figures) {
    EXPECT_THAT(one.description, Not(HasSubstr("Limit")));
  }
}

// The limits of tilt have no source; what says so is no citation, and German on a German page.
TEST(JudgedWords, WhatDescribesASourceIsTranslated) {
  for (const Section& section :
       document_of(result_of(hip({{730, 0.2, 0.2}})), Language::kGerman).sections) {
    if (section.id != "criteria") continue;
    for (const auto& row : std::get<Table>(section.blocks.at(1)).rows) {
      if (row[0].phrase.text != "M-TILT-3") continue;
      EXPECT_THAT(row[4].phrase.text,
                  testing::StartsWith("Verbreitete Praxis, keine Quelle (aus dem Gedächtnis"));
      return;
    }
  }
  ADD_FAILURE() << "no limit of tilt";
}

// What is read out is what is drawn: limits of two years are not, on a course of six months.
TEST(JudgedWords, TheChartNamesNoLimitThatItDoesNotShow) {
  const Figures early = figures(hip({{42, 0.3, 0.2}, {183, 0.4, 0.2}}, 3));
  EXPECT_THAT(early.figures[0].description,
              AllOf(HasSubstr("M-ALN"), Not(HasSubstr("M-KRISMER")), Not(HasSubstr("M-STREIT"))));
  EXPECT_THAT(figures(hip({{42, 0.3, 0.2}, {700, 0.4, 0.2}}, 3)).figures[0].description,
              HasSubstr("M-KRISMER"));
}

// A limit of one's own that asks for a point of the stem names it.
TEST(JudgedWords, APointOfTheStemIsNamed) {
  followup::Result result = result_of(hip({{730, 1.0, 0.3}}));
  result.assessment->findings[1].point = assessment::Point::kTip;
  const auto document = document_of(result, Language::kGerman);
  const auto section = std::find_if(document.sections.begin(), document.sections.end(),
                                    [](const Section& one) { return one.id == "criteria"; });
  ASSERT_NE(section, document.sections.end());
  EXPECT_THAT(std::get<Table>(section->blocks.at(1)).rows[1][3].phrase.text,
              HasSubstr("an der Spitze"));
}

}  // namespace
}  // namespace tidemark::report
