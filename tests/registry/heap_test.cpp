#include "heap.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "tidemark/core/hash.h"

namespace tidemark::registry {
namespace {

HeapFile film(const std::string& name, const std::string& patient, std::optional<Side> side,
              const char* date) {
  HeapFile file;
  file.path = "/heap/" + name;
  file.sha256 = name + std::string(64 - name.size(), '0');
  file.modality = "DX";
  file.has_pixels = true;
  file.side = side;
  file.date = parse_date(date);
  file.patient_id = patient;
  return file;
}

std::vector<std::string> names_of(const HipJob& job) {
  std::vector<std::string> names;
  for (const FilmSource& source : job.films) names.push_back(source.path.filename().string());
  return names;
}

TEST(Heap, OneIdOfTwoIssuersIsTwoPatients) {
  auto a = film("a", "1", Side::kRight, "2024-01-01");
  auto b = film("b", "1", Side::kRight, "2024-02-01");
  EXPECT_EQ(sort_heap({a, b}, {}, {}).jobs.size(), 1U);
  a.issuer = "north";
  b.issuer = "south";
  EXPECT_EQ(sort_heap({a, b}, {}, {}).jobs.size(), 2U);
}

// One patient's head, date of surgery and stem are not the other's.
TEST(Heap, LinesOfASheetForAnIdOfTwoIssuersAreNobodys) {
  auto a = film("a", "1", Side::kRight, "2024-01-01");
  auto b = film("b", "1", Side::kRight, "2024-02-01");
  a.issuer = "north";
  Sheet sheet;
  for (const auto& [patient, side] :
       {std::pair("1", Side::kRight), std::pair("1", Side::kLeft), std::pair("2", Side::kRight)}) {
    SheetRow row;
    row.patient_id = patient;
    row.facts.side = side;
    row.facts.head_diameter = Millimetres{28.0};
    row.facts.surgery_date = parse_date("2024-01-15");
    row.facts.groups["stem"] = "A";
    sheet.rows.push_back(row);
  }
  for (const char* issuer : {"south", ""}) {
    b.issuer = issuer;
    const Plan plan = sort_heap({a, b, film("c", "2", Side::kRight, "2024-02-01")}, sheet, {});
    ASSERT_EQ(plan.jobs.size(), 3U) << issuer;
    for (const HipJob& job : plan.jobs) {
      const bool shared = names_of(job) != std::vector<std::string>{"c"};
      EXPECT_EQ(job.fault.find("several issuers") != std::string::npos, shared) << job.fault;
      EXPECT_EQ(job.facts.head_diameter.has_value(), !shared);
      EXPECT_EQ(job.facts.surgery_date.has_value(), !shared);
      EXPECT_EQ(job.facts.groups.empty(), shared);
    }
    EXPECT_TRUE(plan.set_aside.empty());
  }
  // Without a side of its own a film is not told one by a line that may be another patient's.
  a.side.reset();
  const Plan plan = sort_heap({a, b}, sheet, {});
  EXPECT_EQ(plan.jobs.size(), 2U);
  // An id that the sheet does not name is as good as without a sheet.
  sheet.rows.erase(sheet.rows.begin(), sheet.rows.begin() + 2);
  for (const HipJob& job : sort_heap({a, b}, sheet, {}).jobs) EXPECT_EQ(job.fault, "");
}

TEST(Heap, OrderOfFilesDoesNotMatter) {
  std::vector<HeapFile> files{
      film("d", "2", Side::kLeft, "2023-01-01"), film("a", "1", Side::kRight, "2024-03-01"),
      film("c", "1", std::nullopt, "2024-01-01"), film("b", "1", Side::kLeft, "2024-02-01"),
      film("e", "3", std::nullopt, "2024-02-01")};
  std::sort(files.begin(), files.end(),
            [](const auto& x, const auto& y) { return x.path < y.path; });
  std::vector<std::vector<std::string>> expected;
  do {
    const Plan plan = sort_heap(files, {}, {});
    std::vector<std::vector<std::string>> told;
    for (const HipJob& job : plan.jobs) {
      told.push_back(names_of(job));
      told.back().push_back(job.facts.hip);
    }
    std::sort(told.begin(), told.end());
    if (expected.empty()) expected = told;
    ASSERT_EQ(told, expected);
  } while (std::next_permutation(files.begin(), files.end(),
                                 [](const auto& x, const auto& y) { return x.path < y.path; }));
  // Numbered by the least hash among a patient's films: a, d, e. The film of both sides serves
  // each.
  EXPECT_EQ(expected, (std::vector<std::vector<std::string>>{{"c", "a", "patient-000001-R"},
                                                             {"c", "b", "patient-000001-L"},
                                                             {"d", "patient-000002-L"},
                                                             {"e", "patient-000003-X"}}));
}

TEST(Heap, SaysWhyAFileIsSetAside) {
  struct Row {
    const char* kind;
    std::function<void(HeapFile&)> spoil;
  };
  const std::vector<Row> rows{{"unreadable", [](HeapFile& f) { f.error = "damaged"; }},
                              {"other_modality", [](HeapFile& f) { f.modality = "CT"; }},
                              {"no_pixels", [](HeapFile& f) { f.has_pixels = false; }},
                              {"other_body_part", [](HeapFile& f) { f.body_part = "CHEST"; }},
                              {"lateral_view", [](HeapFile& f) { f.view = View::kLateral; }},
                              {"other_view", [](HeapFile& f) { f.view = View::kOther; }},
                              {"patient_unknown", [](HeapFile& f) { f.patient_id.clear(); }},
                              {"date_unknown", [](HeapFile& f) { f.date.reset(); }}};
  for (const Row& row : rows) {
    auto file = film("a", "1", Side::kRight, "2024-01-01");
    row.spoil(file);
    const Plan plan = sort_heap({file}, {}, {});
    EXPECT_TRUE(plan.jobs.empty()) << row.kind;
    ASSERT_EQ(plan.set_aside.size(), 1U) << row.kind;
    EXPECT_EQ(plan.set_aside[0].kind, row.kind);
    EXPECT_FALSE(plan.set_aside[0].reason.empty());
  }
  for (const char* part : {"HIP", "PELVIS", "pelvis ap", "FEMUR", ""}) {
    auto file = film("a", "1", Side::kRight, "2024-01-01");
    file.body_part = part;
    EXPECT_EQ(sort_heap({file}, {}, {}).jobs.size(), 1U) << part;
  }
}

TEST(Heap, FilmsBeforeSurgeryByTheSheet) {
  Sheet sheet;
  SheetRow row;
  row.patient_id = "1";
  row.facts.side = Side::kRight;
  row.facts.surgery_date = parse_date("2024-02-01");
  row.facts.groups["stem"] = "A";
  sheet.rows = {row};
  const Plan plan = sort_heap(
      {film("a", "1", Side::kRight, "2024-01-31"), film("b", "1", Side::kRight, "2024-02-01"),
       film("c", "1", Side::kRight, "2024-03-01")},
      sheet, PseudonymKey{"0123456789abcdef"});
  ASSERT_EQ(plan.jobs.size(), 1U);
  EXPECT_EQ(names_of(plan.jobs[0]), (std::vector<std::string>{"b", "c"}));
  EXPECT_EQ(plan.jobs[0].facts.groups.at("stem"), "A");
  ASSERT_EQ(plan.set_aside.size(), 1U);
  EXPECT_EQ(plan.set_aside[0].kind, "before_surgery");
  EXPECT_EQ(plan.set_aside[0].hip, plan.jobs[0].facts.hip);
}

// One row for each hip that it is set aside from, not one for both.
TEST(Heap, AFilmOfBothHipsIsSetAsideFromEach) {
  Sheet sheet;
  for (const Side side : {Side::kRight, Side::kLeft}) {
    SheetRow row;
    row.patient_id = "1";
    row.facts.side = side;
    row.facts.surgery_date = parse_date("2024-02-01");
    sheet.rows.push_back(row);
  }
  const Plan plan = sort_heap(
      {film("a", "1", std::nullopt, "2024-01-31"), film("b", "1", std::nullopt, "2024-03-01")},
      sheet, {});
  ASSERT_EQ(plan.set_aside.size(), 2U);
  EXPECT_EQ(plan.set_aside[0].item, plan.set_aside[1].item);
  EXPECT_NE(plan.set_aside[0].hip, plan.set_aside[1].hip);
}

HeapFile without_bytes(const std::string& name) {
  HeapFile file;
  file.path = "/heap/" + name;
  file.error = "cannot be read";
  return file;
}

// A folder's name may be a patient's: whoever tries names must not find it in the table.
TEST(Heap, AFileWithoutBytesIsNotCalledByItsPath) {
  const std::optional<PseudonymKey> key = PseudonymKey{"0123456789abcdef"};
  for (const auto& with : {std::optional<PseudonymKey>(), key}) {
    const Plan plan = sort_heap({without_bytes("quillfeather/a"), without_bytes("quillfeather/b")},
                                {}, with, "/heap");
    ASSERT_EQ(plan.set_aside.size(), 2U);
    EXPECT_NE(plan.set_aside[0].item, plan.set_aside[1].item);
    for (const SetAside& file : plan.set_aside) {
      EXPECT_EQ(file.item.size(), 64U);
      for (const char* path : {"/heap/quillfeather/a", "quillfeather/a", "a",
                               "/heap/quillfeather/b", "quillfeather/b", "b"}) {
        EXPECT_NE(file.item, sha256_hex(std::string_view(path)));
      }
    }
  }
  // With a key by the path below the root, so that it is the same wherever the heap lies.
  auto there = without_bytes("a");
  there.path = "/mnt/a";
  EXPECT_EQ(sort_heap({without_bytes("a")}, {}, key, "/heap").set_aside[0].item,
            sort_heap({there}, {}, key, "/mnt").set_aside[0].item);
}

TEST(Heap, EachFileThatIsSetAsideHasARow) {
  auto a = without_bytes("a");
  auto b = without_bytes("b");
  a.sha256 = b.sha256 = std::string(64, '7');  // the same bytes
  const Plan plan = sort_heap({a, b}, {}, {}, "/heap");
  ASSERT_EQ(plan.set_aside.size(), 2U);
  EXPECT_NE(plan.set_aside[0].item, plan.set_aside[1].item);
}

TEST(Heap, AllLinesOfAHipCount) {
  Sheet sheet;
  for (const double head : {28.0, 32.0}) {
    SheetRow row;
    row.patient_id = "1";
    row.facts.side = Side::kRight;
    row.facts.head_diameter = Millimetres{head};
    sheet.rows.push_back(row);
  }
  const std::vector<HeapFile> files{film("a", "1", Side::kRight, "2024-03-01")};
  Plan plan = sort_heap(files, sheet, {});
  ASSERT_EQ(plan.jobs.size(), 1U);
  EXPECT_NE(plan.jobs[0].fault.find("contradict"), std::string::npos);
  EXPECT_TRUE(plan.notes.empty());
  sheet.rows[1].facts.head_diameter.reset();
  sheet.rows[1].facts.side.reset();
  sheet.rows[1].facts.groups["stem"] = "A";
  plan = sort_heap(files, sheet, {});
  EXPECT_EQ(plan.jobs[0].fault, "");
  EXPECT_EQ(plan.jobs[0].facts.groups.at("stem"), "A");
  EXPECT_EQ(plan.jobs[0].facts.head_diameter->value, 28.0);
}

}  // namespace
}  // namespace tidemark::registry
