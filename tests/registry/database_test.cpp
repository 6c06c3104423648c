#include "tidemark/registry/database.h"

#include <gtest/gtest.h>
#include <sqlite3.h>

#include <fstream>
#include <map>
#include <set>

#include "schema.h"
#include "scratch.h"
#include "testdata.h"
#include "tidemark/registry/dictionary.h"

namespace tidemark::registry {
namespace {

using test::Scratch;

/// First column of all rows, by SQLite itself.
std::vector<std::string> asked(const std::filesystem::path& file, const std::string& sql) {
  sqlite3* db = nullptr;
  sqlite3_open(file.c_str(), &db);
  std::vector<std::string> rows;
  const auto add = [](void* out, int, char** cells, char**) {
    static_cast<std::vector<std::string>*>(out)->push_back(cells[0] != nullptr ? cells[0] : "NULL");
    return 0;
  };
  char* said = nullptr;
  if (sqlite3_exec(db, sql.c_str(), add, &rows, &said) != SQLITE_OK) rows.push_back(said);
  sqlite3_free(said);
  sqlite3_close(db);
  return rows;
}

TEST(Database, IsMadeWhole) {
  const Scratch scratch;
  const auto file = scratch.path() / "a.sqlite";
  { ASSERT_TRUE(Database::open_or_make(file)); }
  EXPECT_EQ(asked(file, "PRAGMA integrity_check"), std::vector<std::string>{"ok"});
  EXPECT_EQ(asked(file, "PRAGMA journal_mode"), std::vector<std::string>{"wal"});
  EXPECT_EQ(asked(file, "PRAGMA user_version"), std::vector<std::string>{"2"});
  EXPECT_TRUE(Database::open_or_make(file));  // a second time changes nothing
  EXPECT_TRUE(Database::open(file));
}

// The dictionary is read from comments: it must name what SQLite itself has made of the schema.
TEST(Database, DictionaryNamesEveryColumn) {
  const Scratch scratch;
  const auto file = scratch.path() / "a.sqlite";
  { ASSERT_TRUE(Database::open_or_make(file)); }
  std::map<std::string, std::vector<std::string>> told;
  for (const TableMeaning& table : dictionary()) {
    EXPECT_FALSE(table.meaning.empty()) << table.name;
    for (const ColumnMeaning& column : table.columns) {
      told[table.name].push_back(column.name);
      EXPECT_FALSE(column.meaning.empty()) << table.name << "." << column.name;
    }
  }
  std::map<std::string, std::vector<std::string>> made;
  for (const std::string& table :
       asked(file, "SELECT name FROM sqlite_master WHERE type = 'table'"))
    made[table] = asked(file, "SELECT name FROM pragma_table_info('" + table + "')");
  EXPECT_EQ(told, made);
}

TEST(Database, DictionaryIsTheDocumentation) {
  std::ifstream file(tidemark::test::testdata().string() + "/../docs/registry-data-dictionary.md");
  const std::string text{std::istreambuf_iterator<char>(file), {}};
  EXPECT_EQ(to_markdown(dictionary()), text);
}

TEST(Database, RefusesWhatIsNotItsOwn) {
  const Scratch scratch;
  const auto other = scratch.path() / "other.sqlite";
  asked(other, "CREATE TABLE x (y)");
  const auto newer = scratch.path() / "newer.sqlite";
  { ASSERT_TRUE(Database::open_or_make(newer)); }
  asked(newer, "PRAGMA user_version = 99");
  const auto text = scratch.path() / "text.sqlite";
  std::ofstream(text) << std::string(5000, 'x');
  for (const auto& file : {other, newer, text}) {
    const auto made = Database::open_or_make(file);
    ASSERT_FALSE(made) << file;
    EXPECT_EQ(made.error().kind, ErrorKind::kBadInput) << made.error().sentence();
    EXPECT_FALSE(Database::open(file)) << file;
  }
  EXPECT_FALSE(Database::open(scratch.path() / "missing.sqlite"));
  EXPECT_FALSE(std::filesystem::exists(scratch.path() / "missing.sqlite"));
  const auto nowhere = Database::open_or_make(scratch.path() / "no" / "a.sqlite");
  ASSERT_FALSE(nowhere);
  EXPECT_EQ(nowhere.error().kind, ErrorKind::kNotWritable);
}

// A reader does not migrate; a writer does, and keeps the rows.
TEST(Database, OlderSchemaIsBroughtUp) {
  const Scratch scratch;
  const auto file = scratch.path() / "a.sqlite";
  asked(file, "PRAGMA application_id = 1415859563; PRAGMA user_version = 0");  // "TdMk", no tables
  const auto read = Database::open(file);
  ASSERT_FALSE(read);
  EXPECT_NE(read.error().sentence().find("older schema"), std::string::npos);
  ASSERT_TRUE(Database::open_or_make(file));
  EXPECT_EQ(asked(file, "PRAGMA user_version"), std::vector<std::string>{"2"});
}

TEST(Database, RowsOfTheFirstSchemaAreKept) {
  const Scratch scratch;
  const auto file = scratch.path() / "a.sqlite";
  asked(file, schema_texts().front());
  asked(file, "INSERT INTO meta VALUES ('note', 'from before')");
  asked(file, "PRAGMA application_id = 1415859563; PRAGMA user_version = 1");
  EXPECT_FALSE(Database::open(file));
  ASSERT_TRUE(Database::open_or_make(file));
  EXPECT_EQ(asked(file, "SELECT value FROM meta WHERE key = 'note'"),
            std::vector<std::string>{"from before"});
  EXPECT_EQ(asked(file, "SELECT count(*) FROM zone_marks"), std::vector<std::string>{"0"});
  EXPECT_TRUE(Database::open(file));
}

}  // namespace
}  // namespace tidemark::registry
