#include "tidemark/report/document.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "../followup/invented.h"
#include "scratch.h"
#include "tidemark/core/date.h"
#include "tidemark/core/files.h"
#include "tidemark/report/write.h"

namespace tidemark::report {
namespace {

using followup::Aligned;
using followup::Result;
using testing::HasSubstr;
using testing::Not;
namespace invented = followup::invented;

Result measured(const std::vector<std::string>& files, const followup::Options& options = {}) {
  return followup::measure_with(invented::series(files), options, invented::steps());
}

std::vector<std::string> ids(const Document& document) {
  std::vector<std::string> out;
  for (const Section& section : document.sections) out.push_back(section.id);
  return out;
}

TEST(Document, StandsInTheOrderOfThePage) {
  const Document document = document_of(
      measured({"early.dcm", "late.dcm"}, {.aligned = Aligned::kKeep}), Language::kEnglish);
  EXPECT_THAT(ids(document), testing::ElementsAre("course", "pair", "zones", "values", "criteria",
                                                  "signs", "seat", "method", "cautions"));
  EXPECT_EQ(document.plates.size(), 2U);
  EXPECT_EQ(document.date, "2024-03-01");
}

TEST(Document, SaysWhichWayTheStemWentOnlyWhenTheIntervalDoes) {
  Result result = measured({"early.dcm", "late.dcm"});
  const auto sentence = [&](double value) {
    result.comparisons[0].migration->subsidence = {{value}, {0.2}, {0.4}};
    return document_of(result, Language::kEnglish).headline;
  };
  ASSERT_TRUE(sentence(2.1).measured);
  EXPECT_THAT(sentence(2.1).measured->text, HasSubstr("2.10\u00A0mm deeper"));
  EXPECT_THAT(sentence(2.1).measured->text, HasSubstr("1.70 to 2.50\u00A0mm"));
  EXPECT_THAT(sentence(-2.1).measured->text, HasSubstr("2.10\u00A0mm higher"));
  EXPECT_THAT(sentence(0.3).measured->text, HasSubstr("no motion"));
  EXPECT_THAT(sentence(0.4).measured->text, HasSubstr("no motion"));  // the interval touches zero
}

TEST(Document, VerdictStandsFirst) {
  using assessment::Verdict;
  Result result = measured({"early.dcm", "late.dcm"});
  ASSERT_TRUE(result.assessment && result.assessment->headline.comparison);
  auto& headline = result.assessment->headline;
  headline.sentence = "A sentence.";
  headline.doubts = {"Its doubt."};
  for (const auto& [verdict, finding] :
       {std::pair{Verdict::kExceeds, Finding::kLook}, std::pair{Verdict::kWithin, Finding::kCalm},
        std::pair{Verdict::kCannotTell, Finding::kOpen}}) {
    headline.verdict = verdict;
    const Headline shown = document_of(result, Language::kEnglish).headline;
    EXPECT_EQ(shown.finding, finding);
    EXPECT_EQ(shown.sentence.text, "A sentence.");
    EXPECT_FALSE(shown.sentence.in_english);
    ASSERT_FALSE(shown.doubts.empty());
    EXPECT_EQ(shown.doubts.front().text, "Its doubt.");
    // In another language the verdicts are told from the findings, an unknown doubt as it is.
    const Headline german = document_of(result, Language::kGerman).headline;
    EXPECT_EQ(german.finding, finding);
    EXPECT_THAT(german.sentence.text, HasSubstr("Grenze"));
    EXPECT_FALSE(german.sentence.in_english);
    EXPECT_EQ(german.doubts.front().text, "Its doubt.");
    EXPECT_TRUE(german.doubts.front().in_english);
  }
}

/// Of lines; areas of lost bone have their own.
std::vector<Table> zone_tables(const Result& result) {
  std::vector<Table> out;
  for (const Section& section : document_of(result, Language::kEnglish).sections) {
    if (section.id != "zones") continue;
    for (const Block& block : section.blocks) {
      const auto* table = std::get_if<Table>(&block);
      if (table != nullptr && table->id.starts_with("zones-table")) out.push_back(*table);
    }
  }
  return out;
}

// The lateral films' zones stand below the frontal films', each against the first film of its kind.
TEST(Document, LateralFilmsHaveATableOfZonesOfTheirOwn) {
  Result result = measured({"early.dcm", "late.dcm"});
  ASSERT_EQ(zone_tables(result).size(), 1U);
  for (const char* date : {"2024-01-02", "2024-05-01"}) {
    followup::FilmResult film = result.films[1];
    film.view = View::kLateral;
    film.role = followup::Role::kFollowUp;
    film.date = parse_date(date);
    for (auto& zone : film.zones) zone.zone += 7;
    result.films.push_back(film);
  }
  auto zones = result.comparisons[0].zones;
  for (auto& zone : zones) zone.zone += 7;
  result.lateral_comparisons.push_back({2, 3, 120, zones});
  const auto tables = zone_tables(result);
  ASSERT_EQ(tables.size(), 2U);
  EXPECT_EQ(tables[0].columns,
            (std::vector<std::string>{"Zone", "2024-01-01 (reference)", "2024-03-01",
                                      "Grown on 2024-03-01 since the reference film?"}));
  EXPECT_EQ(tables[1].columns,
            (std::vector<std::string>{"Zone", "2024-01-02 (reference)", "2024-05-01",
                                      "Grown on 2024-05-01 since the reference film?"}));
  EXPECT_THAT(tables[1].rows.front().front().phrase.text, HasSubstr("8 (anterior, proximal)"));
  EXPECT_THAT(tables[1].rows.back().front().phrase.text, HasSubstr("14 (posterior, proximal)"));
  EXPECT_THAT(tables[1].rows.back().back().phrase.text, HasSubstr("yes"));
}

/// The paragraphs of the section on how it was measured.
std::string method_of(const Result& result) {
  std::string out;
  for (const Section& section : document_of(result, Language::kEnglish).sections) {
    if (section.id != "method") continue;
    for (const Block& block : section.blocks) {
      const auto* paragraph = std::get_if<Paragraph>(&block);
      if (paragraph != nullptr) out += paragraph->phrase.text + "\n";
    }
  }
  return out;
}

// The lean that the change of tilt was corrected by stands on the page.
TEST(Document, TellsTheDepthAndLeanThatALateralFilmShows) {
  Result result = measured({"early.dcm", "late.dcm"});
  EXPECT_THAT(method_of(result), Not(HasSubstr("Lateral film")));
  followup::FilmResult film = result.films[1];
  film.view = View::kLateral;
  film.date = parse_date("2024-01-02");
  film.side_view = migration::SideView{{{-1.41}, {0.5}, {1.0}}, {{1.02}, {0.5}, {1.0}}, {}};
  result.films.push_back(film);
  const std::string told = method_of(result);
  EXPECT_THAT(told, HasSubstr("Lateral film 2024-01-02: the stem lies \u22121.4"));
  EXPECT_THAT(told, HasSubstr("leans against it by +1.0"));
  EXPECT_THAT(told, HasSubstr("The change of tilt is told less"));
}

// Who reads the page alone sees how far the leg was turned, and whether a surface served the pair.
TEST(Document, TellsHowTheLegLiesOtherwiseByTheStemsSurface) {
  Result result = measured({"early.dcm", "late.dcm"});
  EXPECT_THAT(method_of(result), Not(HasSubstr("surface")));
  Result without = result;
  without.films[0].flags.push_back({"surface_pose_missing", "The surface is another stem's."});
  EXPECT_THAT(method_of(without), HasSubstr("2024-03-01 was compared without the stem's surface"));
  auto& motion = *result.comparisons[0].migration;
  motion.flexion_change = Measured<Degrees>{{-3.9}, {1.6}, {3.2}};
  motion.rotation_change = Measured<Degrees>{{20.4}, {3.8}, {7.5}};
  const std::string told = method_of(result);
  EXPECT_THAT(told, HasSubstr("film of 2024-03-01 lies turned otherwise"));
  EXPECT_THAT(told, HasSubstr("flexion \u22123.9\u00a0\u00b1"));
  EXPECT_THAT(told, HasSubstr("rotation +20.4\u00a0\u00b1"));
}

// The answer of an earlier film does not stand beside a newer one that was not compared.
TEST(Document, GrowthIsToldOfTheNewestFilmOrNotAtAll) {
  Result result = measured({"early.dcm", "late.dcm"});
  followup::FilmResult film = result.films[1];
  film.date = parse_date("2025-03-01");
  result.films.push_back(film);
  followup::ComparisonResult refused;
  refused.follow_up = 2;
  refused.reason = "the films do not show the same implant";
  result.comparisons.push_back(refused);
  const auto tables = zone_tables(result);
  ASSERT_EQ(tables.size(), 1U);
  EXPECT_EQ(tables[0].columns.back(), "Grown on 2025-03-01 since the reference film?");
  for (const auto& row : tables[0].rows) {
    EXPECT_EQ(row.back().phrase.text, "cannot tell") << row.front().phrase.text;
  }
}

// The head of the page must not hide a film that failed.
TEST(Document, NamesTheNewestFilmThatWasNotMeasured) {
  Result result = measured({"early.dcm", "late.dcm"});
  const auto value_of = [&](const std::string& name) {
    for (const Fact& fact : document_of(result, Language::kEnglish).facts) {
      if (fact.name == name) return fact.value;
    }
    return std::string("none");
  };
  EXPECT_THAT(value_of("Latest film measured"), testing::StartsWith("2024-03-01"));
  EXPECT_EQ(value_of("Newest film"), "none");
  result.films.push_back(result.films[1]);
  result.films[2].date = parse_date("2027-01-01");
  followup::ComparisonResult refused;
  refused.follow_up = 2;
  refused.reason = "the bone does not match";
  result.comparisons.push_back(refused);
  EXPECT_EQ(value_of("Newest film"), "2027-01-01, not measured");
}

TEST(Document, RolesOfFilmsAreTheirOwn) {
  Result result = measured({"early.dcm", "late.dcm"});
  for (int i = 0; i < 3; ++i) result.films.push_back(result.films[1]);
  result.films[2].view = View::kLateral;
  result.films[3].excluded = true;
  result.films[4].days_from_surgery = -10;
  std::vector<std::string> roles;
  for (const Section& section : document_of(result, Language::kEnglish).sections) {
    for (const Block& block : section.blocks) {
      const auto* table = std::get_if<Table>(&block);
      if (table == nullptr || table->id != "films-table") continue;
      for (const auto& row : table->rows) roles.push_back(row[1].phrase.text);
    }
  }
  EXPECT_EQ(roles, (std::vector<std::string>{"reference", "follow-up", "lateral", "left out",
                                             "before surgery"}));
}

// Where the field ends above the tip on one of the films there is no tip to look at.
TEST(Document, NoInsetShowsATipThatIsNotThere) {
  Result result = measured({"early.dcm", "late.dcm"}, {.aligned = Aligned::kKeep});
  const auto pair_of = [](const Document& document) {
    for (const Section& section : document.sections) {
      for (const Block& block : section.blocks) {
        if (const auto* pair = std::get_if<AlignedPair>(&block)) return *pair;
      }
    }
    return AlignedPair{};
  };
  const Document whole = document_of(result, Language::kEnglish);
  EXPECT_TRUE(pair_of(whole).at_tip);
  EXPECT_THAT(to_html(whole), HasSubstr("Tip, both outlines"));
  result.aligned->films[1].tip_px.reset();
  const Document cut = document_of(result, Language::kEnglish);
  EXPECT_FALSE(pair_of(cut).at_tip);
  EXPECT_THAT(pair_of(cut).caption, HasSubstr("The tip is not on both films"));
  const std::string page = to_html(cut);
  EXPECT_THAT(page, Not(HasSubstr("Tip, both outlines")));
  EXPECT_THAT(page, Not(HasSubstr("> Tip</label>")));
  EXPECT_TRUE(to_pdf(cut));
}

// A film from 300 days before the reference film, on which the stem stood 3 mm higher.
TEST(Document, AFilmFromBeforeTheReferenceFilmIsToldForwards) {
  Result result = measured({"early.dcm", "late.dcm"});
  result.comparisons[0].days = -300;
  result.comparisons[0].migration->subsidence = {{-3.0}, {0.2}, {0.4}};
  for (const Language language : {Language::kEnglish, Language::kGerman}) {
    const Headline headline = document_of(result, language).headline;
    ASSERT_TRUE(headline.measured);
    EXPECT_THAT(headline.measured->text,
                HasSubstr(language == Language::kEnglish
                              ? "On the reference film the stem stands 3.00\u00A0mm deeper"
                              : "Auf dem Ausgangsbild steht der Schaft 3,00\u00A0mm tiefer"));
  }
}

TEST(Document, TheTitleOfThePageNamesTheHip) {
  Result result = measured({"early.dcm", "late.dcm"});
  result.hip = "H-7 & 8";
  EXPECT_THAT(to_html(document_of(result, Language::kEnglish)),
              HasSubstr("<title>Stem follow-up report: H-7 &amp; 8</title>"));
  result.hip.reset();
  EXPECT_THAT(to_html(document_of(result, Language::kEnglish)),
              HasSubstr("<title>Stem follow-up report</title>"));
}

TEST(Document, SaysWhyThereIsNoCourseAndNoTableOfSigns) {
  Result result = measured({"a.dcm", "b.dcm"});  // without dates and fixation
  ASSERT_TRUE(result.assessment.has_value());
  for (const Language language : {Language::kEnglish, Language::kGerman}) {
    const std::string page = to_html(document_of(result, language));
    const bool english = language == Language::kEnglish;
    EXPECT_THAT(page, HasSubstr(english ? "it takes two dated follow-up films besides"
                                        : "es braucht außer dem Ausgangsbild zwei datierte"));
    EXPECT_THAT(page, HasSubstr(english ? "Signs of fixation are not read: the sheet does not say"
                                        : "Zeichen der Verankerung werden nicht gelesen"));
  }
}

/// The sentences of the findings on the page.
std::vector<std::string> said_of_findings(const Result& result, Language language) {
  std::vector<std::string> out;
  for (const Section& section : document_of(result, language).sections) {
    if (section.id != "criteria") continue;
    for (const Block& block : section.blocks) {
      const auto* table = std::get_if<Table>(&block);
      if (table == nullptr) continue;
      for (const auto& row : table->rows) out.push_back(row[3].phrase.text);
    }
  }
  return out;
}

// A limit of 0.15 mm is not one of 0.2 mm.
TEST(Document, GermanFindingsNameTheLimitAsItIs) {
  using assessment::Because;
  Result result = measured({"early.dcm", "late.dcm"});
  ASSERT_TRUE(result.assessment.has_value());
  auto& findings = result.assessment->findings;
  ASSERT_FALSE(findings.empty());
  assessment::Finding finding = findings.front();
  finding.doubts.clear();
  finding.quantity = assessment::Quantity::kSubsidence;
  finding.because = Because::kOutsideWindow;
  finding.measured.reset();
  finding.reason.clear();
  findings.clear();
  for (const double limit : {0.15, 1.5, 2.0, 0.125}) {
    finding.threshold = limit;
    findings.push_back(finding);
  }
  EXPECT_THAT(said_of_findings(result, Language::kGerman),
              testing::ElementsAre(HasSubstr(" 0,15 mm"), HasSubstr(" 1,5 mm"), HasSubstr(" 2 mm"),
                                   HasSubstr(" 0,125 mm")));
  EXPECT_THAT(
      said_of_findings(result, Language::kGerman)[0],
      testing::EndsWith("Nicht gemessen: es gibt keinen Wert, der sich dagegen halten ließe."));
}

TEST(Document, FindingsDoNotRepeatTheirRow) {
  Result result = measured({"early.dcm", "late.dcm"});
  ASSERT_TRUE(result.assessment.has_value());
  auto& findings = result.assessment->findings;
  ASSERT_FALSE(findings.empty());
  findings.resize(3, findings.front());
  for (assessment::Finding& one : findings) one.criterion = "X-1";
  findings[0].verdict = findings[1].verdict = assessment::Verdict::kWithin;
  findings[2].verdict = assessment::Verdict::kNotApplicable;
  findings[2].text = "X-1: subsidence +1.0 mm; no average is known for this time.";
  findings[0].text = "X-1: within the limit; subsidence as it was.";
  findings[1].text = "X-1 is worded otherwise.";
  const std::vector<std::string> cells = said_of_findings(result, Language::kEnglish);
  ASSERT_EQ(cells.size(), 3U);
  EXPECT_THAT(cells[0], testing::StartsWith("Subsidence as it was."));
  EXPECT_THAT(cells[2], testing::StartsWith("Subsidence +1.0 mm; no average"));
  EXPECT_THAT(cells[1], testing::StartsWith("X-1 is worded otherwise."));
}

TEST(Document, ColumnsOfWordsAreFlushLeftAndNumbersAreNot) {
  const auto column = [](std::vector<Cell> cells) {
    Table table{"id", "caption", {"a", "b"}, {}};
    for (Cell& cell : cells) table.rows.push_back({Cell{{"x"}, CellRole::kWord}, std::move(cell)});
    return is_flush_left(table, 1);
  };
  EXPECT_TRUE(column({{{"line, 1.0 mm"}, CellRole::kStrong}, {{"cannot tell"}, CellRole::kOpen}}));
  EXPECT_FALSE(column({{{"-0.3 mm"}, CellRole::kStrong}, {{"not measured"}, CellRole::kOpen}}));
}

TEST(Document, WithoutAssessmentOnlyWhatWasMeasured) {
  Result result = measured({"early.dcm", "late.dcm"});
  result.assessment.reset();
  const auto headline = [&](double value) {
    result.comparisons[0].migration->subsidence = {{value}, {0.2}, {0.4}};
    return document_of(result, Language::kEnglish).headline;
  };
  EXPECT_THAT(headline(2.1).sentence.text, HasSubstr("2.10\u00A0mm deeper"));
  EXPECT_FALSE(headline(2.1).measured);
  EXPECT_EQ(headline(2.1).finding, Finding::kLook);
  EXPECT_EQ(headline(0.4).finding, Finding::kOpen);
}

TEST(Document, NothingComparedIsSaid) {
  const Document document = document_of(measured({"a.dcm", "bare.dcm"}), Language::kEnglish);
  EXPECT_EQ(document.headline.finding, Finding::kOpen);
  EXPECT_THAT(document.headline.sentence.text, HasSubstr("nothing can be said"));
  EXPECT_THAT(to_html(document), HasSubstr("bare.dcm"));
  EXPECT_TRUE(to_pdf(document));
}

TEST(Document, PixelsAreCalledPixels) {
  followup::Series series = invented::series({"early.dcm", "late.dcm"});
  series.stem.head_diameter.reset();
  const Result result = followup::measure_with(
      series, {.without_scale = followup::WithoutScale::kAcceptPixels}, invented::steps());
  const std::string page = to_html(document_of(result, Language::kEnglish));
  EXPECT_THAT(page, HasSubstr("Subsidence, px"));
  EXPECT_THAT(page, Not(HasSubstr("Subsidence, mm")));
}

TEST(Html, NamesCannotBecomeMarkup) {
  Result result = measured({"early.dcm", "late.dcm"});
  result.hip = "<script>alert(1)</script>&\"'";
  result.films[1].file = "\"><img onerror=x>\x1b\xc3.dcm";
  const std::string page = to_html(document_of(result, Language::kEnglish));
  EXPECT_THAT(page, Not(HasSubstr("<script>alert")));
  EXPECT_THAT(page, Not(HasSubstr("<img")));
  EXPECT_THAT(page, HasSubstr("&lt;script&gt;alert(1)&lt;/script&gt;&amp;"));
  EXPECT_THAT(page, Not(HasSubstr("\x1b")));
}

TEST(Write, SameResultGivesSameBytes) {
  const Result result = measured({"early.dcm", "late.dcm"}, {.aligned = Aligned::kKeep});
  const Document document = document_of(result, Language::kEnglish);
  EXPECT_EQ(to_html(document), to_html(document_of(result, Language::kEnglish)));
  const auto first = to_pdf(document);
  const auto second = to_pdf(document_of(result, Language::kEnglish));
  ASSERT_TRUE(first && second);
  EXPECT_EQ(*first, *second);
  EXPECT_TRUE(first->starts_with("%PDF-1."));
}

TEST(Write, UndatedFilmsGiveAnUndatedPdf) {
  const auto dated = to_pdf(document_of(measured({"early.dcm", "late.dcm"}), Language::kEnglish));
  const auto undated = to_pdf(document_of(measured({"a.dcm", "b.dcm"}), Language::kEnglish));
  ASSERT_TRUE(dated && undated);
  EXPECT_THAT(*dated, HasSubstr("/CreationDate (20240301"));
  EXPECT_THAT(*undated, Not(HasSubstr("/CreationDate")));
  EXPECT_THAT(*undated, Not(HasSubstr("/ModDate")));
}

TEST(Write, OnlyTheFormsAskedFor) {
  const test::Scratch folder;
  const Result result = measured({"early.dcm", "late.dcm"});
  ASSERT_TRUE(write_report(result, Language::kEnglish, {Form::kPdf}, folder.path()));
  EXPECT_TRUE(std::filesystem::exists(folder / "report.pdf"));
  EXPECT_FALSE(std::filesystem::exists(folder / "report.html"));
  const auto refused = write_report(result, Language::kEnglish, {Form::kHtml}, folder / "none");
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().kind, ErrorKind::kNotWritable);
}

}  // namespace
}  // namespace tidemark::report
