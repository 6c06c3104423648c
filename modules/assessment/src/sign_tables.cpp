#include <algorithm>
#include <cassert>
#include <filesystem>

#include "built_in.h"
#include "reading.h"
#include "sign_reader.h"
#include "tidemark/assessment/signs.h"
#include "tidemark/core/files.h"

namespace tidemark::assessment {
namespace {

const SignTable* built_in(const std::string& id) {
  const auto& all = built_in_signs();
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const SignTable& one) { return one.id == id; });
  return found == all.end() ? nullptr : &*found;
}

template <class Item>
std::vector<std::string> ids_of(const std::vector<Item>& items) {
  std::vector<std::string> out;
  out.reserve(items.size());
  for (const Item& one : items) out.push_back(one.id);
  return out;
}

std::string remedy_for(const std::string& id, const std::vector<std::string>& known) {
  const auto near = nearest_key(id, known);
  if (near) return "did you mean " + JsonReader::in_quotes(*near) + "?";
  std::string list;
  for (const std::string& one : known) list += (list.empty() ? "" : ", ") + one;
  return "there are: " + list;
}

Error no_such_table(const std::string& name, const std::string& id) {
  return {ErrorKind::kBadInput, name, "there is no decision table " + JsonReader::in_quotes(id),
          remedy_for(id, ids_of(built_in_signs()))};
}

/// The base with items of the same id replaced in place, and new ones after it.
template <class Item>
std::vector<Item> merged(std::vector<Item> base, std::vector<Item> own) {
  for (Item& one : own) {
    const auto same =
        std::find_if(base.begin(), base.end(), [&](const Item& old) { return old.id == one.id; });
    if (same == base.end()) {
      base.push_back(std::move(one));
    } else {
      *same = std::move(one);
    }
  }
  return base;
}

SignTable extended(SignTable own, const SignTable& base) {
  own.switches = merged(base.switches, std::move(own.switches));
  own.signs = merged(base.signs, std::move(own.signs));
  own.explanations = merged(base.explanations, std::move(own.explanations));
  if (!own.score) own.score = base.score;
  if (own.note.empty()) own.note = base.note;
  return own;
}

/// Sets switches; `subject` is how errors call who asked.
Expected<SignTable> chosen_in(SignTable table,
                              const std::vector<std::pair<std::string, std::string>>& choices,
                              ErrorKind kind, const std::string& subject) {
  for (const auto& [id, choice] : choices) {
    const auto found = std::find_if(table.switches.begin(), table.switches.end(),
                                    [&, &id = id](const auto& one) { return one.id == id; });
    if (found == table.switches.end()) {
      return fail(kind, subject,
                  "the table " + table.id + " has no switch " + JsonReader::in_quotes(id),
                  remedy_for(id, ids_of(table.switches)));
    }
    const auto known = ids_of(found->choices);
    if (std::find(known.begin(), known.end(), choice) == known.end()) {
      return fail(kind, subject,
                  "the switch " + id + " has no choice " + JsonReader::in_quotes(choice),
                  remedy_for(choice, known));
    }
    found->chosen = choice;
  }
  return table;
}

}  // namespace

Expected<SignTable> parse_signs(std::string_view text, const std::string& name) {
  auto alone = read_table_alone(text, name);
  if (!alone) return tl::unexpected(alone.error());
  SignTable table = std::move(alone->table);
  if (const SignTable* same = built_in(table.id); same != nullptr && same->sha256 != table.sha256) {
    return fail(ErrorKind::kBadInput, name,
                "id is " + JsonReader::in_quotes(table.id) + ", which is a built-in table's",
                "give the table an id of its own");
  }
  if (alone->extends) {
    const SignTable* base = built_in(*alone->extends);
    if (base == nullptr) return tl::unexpected(no_such_table(name, *alone->extends));
    table = extended(std::move(table), *base);
  }
  auto whole = chosen_in(std::move(table), alone->choose, ErrorKind::kBadInput, name);
  if (!whole) return whole;
  if (auto fault = fault_of(*whole, name)) return tl::unexpected(std::move(*fault));
  return whole;
}

const std::vector<SignTable>& built_in_signs() {
  static const std::vector<SignTable> tables = [] {
    std::vector<SignTable> out;
    for (const BuiltIn& one : built_in_texts()) {
      if (one.text.find("tidemark/signs/1") == std::string_view::npos) continue;
      auto alone = read_table_alone(one.text, std::string(one.file));
      assert(alone.has_value());  // a test reads each of them
      if (alone) out.push_back(std::move(alone->table));
    }
    return out;
  }();
  return tables;
}

Expected<SignTable> find_signs(const std::string& id_or_file) {
  if (const SignTable* table = built_in(id_or_file)) return *table;
  std::error_code ignored;
  if (!std::filesystem::exists(id_or_file, ignored)) {
    return tl::unexpected(no_such_table("signs", id_or_file));
  }
  const auto text = read_text(id_or_file, kMaxRuleBytes);
  if (!text) return tl::unexpected(text.error());
  return parse_signs(*text, std::filesystem::path(id_or_file).filename().string());
}

const SignTable* default_signs(const StemHold& stem) {
  if (!stem.fixation) return nullptr;
  const bool cemented = *stem.fixation == Fixation::kCemented;
  return built_in(cemented ? "cemented-signs/1" : "uncemented-signs/1");
}

Expected<SignTable> with_switches(SignTable table,
                                  const std::vector<std::pair<std::string, std::string>>& choices) {
  return chosen_in(std::move(table), choices, ErrorKind::kUsage, "signs");
}

}  // namespace tidemark::assessment
