#include "../../modules/report/src/said.h"

#include <gtest/gtest.h>

namespace tidemark::report {
namespace {

// Invented sentences of the form of text/said.json.
constexpr const char* kText = R"~({
  "flags": {"dated": [{"en": "The sheet says {1}, the file {2}.", "de": "Angaben {1}, Datei {2}."}],
            "general": [{"en": "Known.", "de": "Bekannt."}, {"en": "", "de": "Allgemein."}]},
  "clauses": [{"en": "the film {1} is not measured: {2}", "de": "Bild {1} nicht gemessen: {2}"},
              {"en": "no stem", "de": "kein Schaft"}, {"en": "look again", "de": "noch einmal sehen"},
              {"en": "moved by {1}", "de": "bewegt um {1}"},
              {"en": "moved by {1} (far, {2})", "de": "bewegt um {1} (weit, {2})"},
              {"en": "a whole; with its own stop", "de": "ein Ganzes; mit eigenem Halt"},
              {"en": "Cannot tell: {1}.", "de": "Offen: {1}."}, {"en": "and {1} more", "de": "und {1} weitere"}],
  "words": [{"en": "left", "de": "links"}, {"en": "and", "de": "und"}]})~";

TEST(Said, FlagsWithWhatDiffers) {
  const Said said(kText);
  EXPECT_EQ(said.flag("dated", "The sheet says 2024-03-01, the file 2024-03-02."),
            "Angaben 2024-03-01, Datei 2024-03-02.");
  EXPECT_EQ(said.flag("dated", "The sheet says left, the file 1.5 mm."),
            "Angaben links, Datei 1,5 mm.");
  EXPECT_FALSE(said.flag("dated", "Something else."));
  EXPECT_FALSE(said.flag("dated", "The sheet says some words, the file others."));
  EXPECT_FALSE(said.flag("unknown", "Known."));
}

TEST(Said, AFlagMayBeToldInGeneral) {
  const Said said(kText);
  EXPECT_EQ(said.flag("general", "Known."), "Bekannt.");
  EXPECT_EQ(said.flag("general", "Anything."), "Allgemein.");
}

TEST(Said, ClausesWithinClausesOrNothing) {
  const Said said(kText);
  EXPECT_EQ(said.sentence("no stem; look again"), "kein Schaft; noch einmal sehen");
  EXPECT_EQ(said.sentence("the film a.dcm is not measured: no stem; look again"),
            "Bild a.dcm nicht gemessen: kein Schaft; noch einmal sehen");
  // Films from an archive are often called by their UID, which is no decimal number.
  EXPECT_EQ(said.sentence("the film 1.2.840.113619.2.5 is not measured: no stem"),
            "Bild 1.2.840.113619.2.5 nicht gemessen: kein Schaft");
  EXPECT_EQ(said.sentence("moved by -0.5"), "bewegt um -0,5");
  EXPECT_EQ(said.sentence("moved by 1.5 mm (far, 2 mm)"), "bewegt um 1,5 mm (weit, 2 mm)");
  EXPECT_EQ(said.sentence("a whole; with its own stop"), "ein Ganzes; mit eigenem Halt");
  EXPECT_EQ(
      said.sentence(
          "Cannot tell: no stem; moved by 1.5 mm (far, 2, 3 and 7); look again; and 2 more."),
      "Offen: kein Schaft; bewegt um 1,5 mm (weit, 2, 3 und 7); noch einmal sehen; und 2 weitere.");
  EXPECT_FALSE(said.sentence("Cannot tell: no stem; something new; and 2 more."));
  EXPECT_FALSE(said.sentence("no stem; something new"));
  EXPECT_FALSE(said.sentence("no stem at all"));
  EXPECT_FALSE(said.sentence("the film a.dcm is not measured: something new"));
  EXPECT_FALSE(said.sentence(""));
}

TEST(Said, SentencesOfAText) {
  using Sentences = std::vector<std::string>;
  EXPECT_EQ(sentences_of("One. Two 1.5 mm. ± three."),
            (Sentences{"One.", "Two 1.5 mm.", "± three."}));
  EXPECT_EQ(sentences_of("After approx. ten days."), (Sentences{"After approx. ten days."}));
  EXPECT_EQ(sentences_of(""), Sentences{});
}

}  // namespace
}  // namespace tidemark::report
