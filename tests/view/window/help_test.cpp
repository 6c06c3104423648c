#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <QRegularExpression>
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <regex>
#include <set>
#include <sstream>

#include "finding_page.h"
#include "help_text.h"
#include "tidemark/followup/measure.h"

// Every number of the window explains itself and names where its definition comes from. The films
// are those of the command line's tests (TIDEMARK_FILMS); DOIs must stand in docs/, in a public
// header or in the set of criteria that was applied.

namespace tidemark::view {
namespace {

using ::testing::AnyOf;
using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::Not;

struct Hip {
  followup::Result result;
  report::Document document;
  [[nodiscard]] HelpFrom from() const { return {result, document}; }
};

Hip hip_of(followup::Result result) {
  Hip out;
  out.result = std::move(result);
  out.document = report::document_of(out.result, report::Language::kEnglish);
  return out;
}

/// The films' hip, measured once.
const Hip& measured_hip() {
  static const Hip hip = [] {
    followup::Options options;
    options.unroll = followup::Unroll::kKeep;
    return hip_of(followup::measure(followup::load_series(TIDEMARK_FILMS, {}).value(), options));
  }();
  return hip;
}

/// A publication by its year, a standard, or the admission that there is none.
bool names_a_source(const std::string& text) {
  static const std::regex source_words(
      "(^|[^0-9])(19|20)[0-9]{2}([^0-9]|$)|JCGM 10[0-9]|DICOM PS3|ISO [0-9]|[Hh]ouse choice|no "
      "source|No source|from memory|docs/accuracy|set by the author|Set of criteria");
  return std::regex_search(text, source_words);
}

/// All that every help must have.
void expect_whole(const Help& help) {
  EXPECT_FALSE(help.title.empty());
  EXPECT_FALSE(help.means.empty()) << help.title;
  EXPECT_FALSE(help.measured.empty() && help.facts.empty()) << help.title;
  ASSERT_FALSE(help.sources.empty()) << help.title;
  for (const std::string& source : help.sources) {
    EXPECT_TRUE(names_a_source(source)) << help.title << ": " << source;
  }
  for (const auto* part : {&help.means, &help.measured, &help.facts, &help.sources}) {
    for (const std::string& sentence : *part) {
      EXPECT_GT(sentence.size(), 5U) << help.title;
      EXPECT_THAT(sentence, Not(HasSubstr(".."))) << help.title;
    }
  }
}

/// The documents, and the public headers, which name the source of each formula.
std::string documents() {
  static const std::string all = [] {
    std::ostringstream out;
    for (const char* part : {"/docs", "/modules"}) {
      const auto from = std::string(TIDEMARK_SOURCE) + part;
      for (const auto& file : std::filesystem::recursive_directory_iterator(from)) {
        const bool header = file.path().string().find("/include/") != std::string::npos;
        if (!file.is_regular_file() || (file.path().extension() != ".md" && !header)) continue;
        out << std::ifstream(file.path()).rdbuf();
      }
    }
    return out.str();
  }();
  return all;
}

/// What a help's sources cite by DOI must stand where the project keeps its sources.
void expect_documented(const Help& help) {
  static const std::regex doi_words("10\\.[0-9]{4}/[^ ,;)]+");
  std::string known = documents();
  const auto& assessment = measured_hip().result.assessment;
  for (const auto& one : assessment->criteria.criteria) known += one.doi.value_or("") + "\n";
  for (std::string source : help.sources) {
    for (std::smatch doi; std::regex_search(source, doi, doi_words); source = doi.suffix()) {
      std::string name = doi.str();
      while (name.ends_with('.')) name.pop_back();
      EXPECT_THAT(known, HasSubstr(name)) << help.title;
    }
  }
}

std::set<std::string> links_of(const QString& html) {
  std::set<std::string> out;
  auto all = QRegularExpression("href=\"([^\"]+)\"").globalMatch(html);
  while (all.hasNext()) out.insert(all.next().captured(1).toStdString());
  return out;
}

TEST(Help, OfEveryNumberOfTheFindingNamesASource) {
  const Hip& hip = measured_hip();
  const auto& pair = hip.result.comparisons.back();
  const QString page = finding_html(hip.result, hip.document, pair.follow_up);
  EXPECT_LT(page.indexOf("Chosen film"), page.indexOf("What stands against it"))
      << "numbers are seen without scrolling";
  const auto links = links_of(page);
  const std::size_t last = hip.result.comparisons.size() - 1;
  for (const Number number : {Number::kSubsidence, Number::kMedial, Number::kTiltChange}) {
    EXPECT_THAT(links, Contains(link_of(last, number)));
  }
  EXPECT_THAT(links, Contains(link_of_headline()));
  EXPECT_THAT(links, Contains(link_of_film(pair.follow_up)));
  std::size_t verdicts = 0;
  for (const std::string& link : links) {
    const auto help = help_of_link(hip.from(), link);
    ASSERT_TRUE(help) << link;
    expect_whole(*help);
    expect_documented(*help);
    verdicts += link.starts_with("help:verdict/") ? 1 : 0;
  }
  EXPECT_GE(verdicts, 2U);
}

TEST(Help, OfSubsidenceTellsThisHipsOwnFacts) {
  const Hip& hip = measured_hip();
  const std::size_t last = hip.result.comparisons.size() - 1;
  const auto& pair = hip.result.comparisons[last];
  const Help help = help_of(hip.from(), last, Number::kSubsidence);
  const std::string page = html_of(help);
  EXPECT_THAT(page,
              HasSubstr(std::to_string(pair.migration->features.size()) + " bony features voted"));
  for (const auto& item : pair.migration->budget) EXPECT_THAT(page, HasSubstr(item.source));
  EXPECT_THAT(page, HasSubstr("from the head's diameter")) << "the way to the scale";
  for (const auto& flag : pair.flags) EXPECT_THAT(help.facts, Contains(flag.text));
  const auto& flags = hip.result.flags;
  const auto of_lines = std::find_if(flags.begin(), flags.end(), [](const Flag& flag) {
    return flag.id == "lines_not_validated";
  });
  ASSERT_NE(of_lines, flags.end());
  EXPECT_THAT(help.facts, Not(Contains(of_lines->text))) << "it says nothing of the motion";
}

TEST(Help, OfEveryVerdictCarriesItsCriterionsCitation) {
  const Hip& hip = measured_hip();
  const auto& assessed = *hip.result.assessment;
  ASSERT_FALSE(assessed.findings.empty());
  for (std::size_t i = 0; i < assessed.findings.size(); ++i) {
    const Help help = help_of_verdict(hip.from(), i);
    expect_whole(help);
    for (const auto& criterion : assessed.criteria.criteria) {
      if (criterion.id != assessed.findings[i].criterion) continue;
      EXPECT_THAT(help.sources.front(), HasSubstr(criterion.citation));
      EXPECT_THAT(help.sources.front(), HasSubstr(criterion.doi.value_or("")));
      EXPECT_THAT(help.means, Contains(criterion.statement));
    }
  }
}

TEST(Help, OfEveryRowOfTheSeatNamesASource) {
  const Hip& hip = measured_hip();
  ASSERT_TRUE(hip.result.seat);
  ASSERT_GE(hip.result.seat->items.size(), 12U);
  for (std::size_t row = 0; row < hip.result.seat->items.size(); ++row) {
    const auto& item = hip.result.seat->items[row];
    const Help help = help_of_seat(hip.from(), row);
    expect_whole(help);
    expect_documented(help);
    EXPECT_FALSE(help.measured.empty()) << item.id << " is not known to the help";
    EXPECT_EQ(help.means.front(), item.definition);
    if (!item.reason.empty()) {
      EXPECT_THAT(help.facts, Contains(item.reason));
    }
    if (item.seat_class) {
      // The publication whose classes these are, by its place: "142:2935-2944".
      std::smatch place;
      ASSERT_TRUE(std::regex_search(item.seat_class->source, place, std::regex("[0-9]+:[0-9]+")));
      EXPECT_THAT(help.sources.front(), HasSubstr(place.str()));
    }
  }
}

TEST(Help, OfEveryColumnOfTheZonesNamesASource) {
  const Hip& hip = measured_hip();
  for (std::size_t film = 0; film < hip.result.films.size(); ++film) {
    const auto& zones = hip.result.films[film].zones;
    ASSERT_EQ(zones.size(), 7U);
    for (std::size_t row = 0; row < zones.size(); ++row) {
      for (const ZoneColumn column : {ZoneColumn::kZone, ZoneColumn::kProgram, ZoneColumn::kReaders,
                                      ZoneColumn::kWidest, ZoneColumn::kSince}) {
        const Help help = help_of_zone(hip.from(), film, row, column);
        expect_whole(help);
        EXPECT_THAT(help.title, HasSubstr("Zone " + std::to_string(row + 1) + " ("));
        EXPECT_THAT(help.means, Contains(HasSubstr("Not validated"))) << help.title;
      }
    }
    expect_whole(help_of_strips(hip.from(), film));
  }
}

TEST(Help, OfEveryPointFoundOrNotNamesASource) {
  Hip hip = measured_hip();
  for (int grip = 0; grip <= static_cast<int>(Grip::kShaftAxisDistal); ++grip) {
    const Help help = help_of(hip.from(), Handle{0, static_cast<Grip>(grip)});
    expect_whole(help);
    expect_documented(help);
    EXPECT_THAT(help.value,
                AnyOf("found by the program", "put there by hand", "not found on this film"))
        << help.title;
  }
  hip.result.films[0].lesser_trochanter.reset();
  EXPECT_EQ(help_of(hip.from(), Handle{0, Grip::kLesserTrochanter}).value,
            "not found on this film");
  hip.result.films[0].stem->tip->source = Source::kGiven;
  EXPECT_EQ(help_of(hip.from(), Handle{0, Grip::kStemTip}).value, "put there by hand");
  const Help film = help_of_film(hip.from(), 0);
  EXPECT_THAT(film.facts, Contains(HasSubstr("by hand on film-00.dcm: tip")));
}

TEST(Help, OfAFilmTellsEveryWayToItsScale) {
  Hip hip = measured_hip();
  for (const char* method : {"head_diameter", "marker_diameter", "stem_length", "dicom", "given"}) {
    hip.result.films[1].calibration->method = method;
    hip = hip_of(std::move(hip.result));
    const Help help = help_of_film(hip.from(), 1);
    expect_whole(help);
    expect_documented(help);
    EXPECT_FALSE(help.measured.empty()) << method;
    EXPECT_THAT(help.value, HasSubstr("µm/px")) << method;
  }
  hip.result.films[1].calibration.reset();
  expect_whole(help_of_film(hip.from(), 1));
}

TEST(Help, OfTheCourseNamesTheLimitsThatAreDrawn) {
  const Hip& hip = measured_hip();
  const Help subsidence = help_of(hip.from(), CourseChart::kSubsidence);
  expect_whole(subsidence);
  expect_documented(subsidence);
  EXPECT_THAT(subsidence.sources, Contains(HasSubstr("Krismer")));
  const Help tilt = help_of(hip.from(), CourseChart::kTilt);
  expect_whole(tilt);
  EXPECT_THAT(tilt.sources, Contains(HasSubstr("Common practice, no source")));
  expect_whole(help_of_edits());
  expect_whole(help_of_headline(hip.from()));
}

TEST(Help, StandsWhatWasNotMeasuredOrNotJudged) {
  Hip hip = measured_hip();
  auto& pair = hip.result.comparisons.back();
  pair.migration.reset();
  pair.status = followup::Status::kNotMeasured;
  pair.reason = "the films do not match";
  pair.zones.clear();
  hip.result.assessment.reset();
  hip.result.unrolled.clear();
  hip = hip_of(std::move(hip.result));
  const Help help = help_of(hip.from(), hip.result.comparisons.size() - 1, Number::kMedial);
  expect_whole(help);
  EXPECT_THAT(help.facts, Contains("Not measured: the films do not match"));
  expect_whole(help_of_headline(hip.from()));
  expect_whole(help_of(hip.from(), CourseChart::kSubsidence));
  const std::size_t film = hip.result.comparisons.back().follow_up;
  expect_whole(help_of_zone(hip.from(), film, 0, ZoneColumn::kSince));
  expect_whole(help_of_strips(hip.from(), film));
}

TEST(Help, KnowsNoLinkOfAnotherKindOrAnotherHip) {
  const HelpFrom from = measured_hip().from();
  for (const char* link : {"", "https://example.org", "help:", "help:number/0", "help:number/99/0",
                           "help:number/0/3", "help:number/-1/0", "help:verdict/9999",
                           "help:film/99", "help:film/1x", "help:nothing/0"}) {
    EXPECT_FALSE(help_of_link(from, link)) << link;
  }
}

TEST(Help, ShowsTextOfFilesAsText) {
  const Help help{"<b>", "a & b", {"<script>"}, {}, {}, {"House choice."}};
  EXPECT_THAT(html_of(help), HasSubstr("<h3>&lt;b&gt;</h3>"));
  EXPECT_THAT(html_of(help), HasSubstr("a &amp; b"));
  EXPECT_THAT(html_of(help), Not(HasSubstr("<script>")));
}

}  // namespace
}  // namespace tidemark::view
