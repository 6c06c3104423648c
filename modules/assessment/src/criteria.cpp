#include "tidemark/assessment/criteria.h"

#include <algorithm>
#include <cassert>
#include <set>

#include "built_in.h"
#include "criteria_words.h"
#include "reading.h"
#include "tidemark/core/files.h"
#include "tidemark/core/hash.h"
#include "tidemark/core/json_reader.h"

namespace tidemark::assessment {
namespace {

using Json = JsonReader::Json;

// House choices: far beyond any real set, small enough to refuse a hostile file at once.
constexpr std::size_t kMaxCriteria = 200;
constexpr Range kDays{0.0, 36525.0};
constexpr Range kThresholds{0.0, 50.0};
constexpr Range kTypicals{-50.0, 50.0};

int whole_days(JsonReader& reader, const Json& node, const std::string& path,
               const std::string& key) {
  const auto value = reader.number(node, path, key, kDays);
  if (value && *value != static_cast<double>(static_cast<int>(*value))) {
    reader.fault(JsonReader::at(path, key) + " is no whole number", "write whole days");
  }
  return value ? static_cast<int>(*value) : 0;
}

Window read_window(JsonReader& reader, const Json& node, const std::string& path) {
  if (!reader.object(node, path, {"from_days", "to_days", "tolerance_days"})) return {};
  reader.required(node, path, {"from_days", "to_days", "tolerance_days"});
  const Window window{whole_days(reader, node, path, "from_days"),
                      whole_days(reader, node, path, "to_days"),
                      whole_days(reader, node, path, "tolerance_days")};
  if (window.to_days < window.from_days) {
    reader.fault(path + " ends before it begins", "write from_days and to_days in this order");
  }
  return window;
}

std::vector<TypicalValue> read_typical(JsonReader& reader, const Json& list,
                                       const std::string& path) {
  std::vector<TypicalValue> out;
  if (!list.is_array() || list.empty() || list.size() > kMaxCriteria) {
    reader.fault(path + " is no list of values", "write [{\"days\": 365, \"value\": 1.0}]");
    return out;
  }
  for (std::size_t i = 0; i < list.size(); ++i) {
    const std::string at = path + "[" + std::to_string(i) + "]";
    if (!reader.object(list[i], at, {"days", "value"})) return out;
    reader.required(list[i], at, {"days", "value"});
    out.push_back({whole_days(reader, list[i], at, "days"),
                   reader.number(list[i], at, "value", kTypicals).value_or(0.0)});
    if (i > 0 && out[i].days <= out[i - 1].days) {
      reader.fault(at + ".days is not later than the one before", "list the values by time");
    }
  }
  return out;
}

/// What a kind of criterion must and must not have.
void check_kind(JsonReader& reader, const Json& node, const std::string& path, Kind kind) {
  const bool limit = kind == Kind::kThreshold;
  reader.required(node, path, {limit ? "threshold" : "typical"});
  const std::string foreign = limit ? "typical" : "threshold";
  if (JsonReader::find(node, foreign) != nullptr) {
    reader.fault(path + "." + foreign + " does not belong to the kind \"" + kKinds[kind] + "\"",
                 "leave it out, or change the kind");
  }
}

/// A point of the stem is asked of its subsidence since the reference film, and of nothing else.
void check_point(JsonReader& reader, const std::string& path, const Criterion& c) {
  const bool has_points =
      c.quantity == Quantity::kSubsidence || c.quantity == Quantity::kSubsidenceRate;
  if (has_points || c.point == Point::kReference) return;
  reader.fault(path + ".at does not belong to the quantity \"" + code_of(c.quantity) + "\"",
               "leave it out, or take subsidence_mm or subsidence_rate_mm_per_year");
}

Criterion read_criterion(JsonReader& reader, const Json& node, const std::string& path) {
  Criterion c;
  if (!reader.object(
          node, path,
          {"id", "quantity", "kind", "threshold", "typical", "unit", "sense", "at", "fixation",
           "level", "window", "statement", "evidence", "citation", "doi", "certainty", "note"})) {
    return c;
  }
  reader.required(node, path,
                  {"id", "quantity", "unit", "fixation", "statement", "citation", "certainty"});
  c.id = short_text(reader, node, path, "id");
  c.quantity = chosen(reader, node, path, "quantity", kQuantities).value_or(c.quantity);
  c.kind = chosen(reader, node, path, "kind", kKinds).value_or(c.kind);
  c.sense = chosen(reader, node, path, "sense", kSenses).value_or(c.sense);
  c.point = chosen(reader, node, path, "at", kPoints).value_or(c.point);
  c.fixation = chosen(reader, node, path, "fixation", kScopes).value_or(c.fixation);
  c.level = chosen(reader, node, path, "level", kLevels).value_or(c.level);
  c.certainty = chosen(reader, node, path, "certainty", kCertainties).value_or(c.certainty);
  const std::array<std::string, 1> unit{unit_of(c.quantity)};
  (void)reader.word(node, path, "unit", unit);
  check_kind(reader, node, path, c.kind);
  check_point(reader, path, c);
  c.threshold = reader.number(node, path, "threshold", kThresholds).value_or(0.0);
  if (const Json* list = JsonReader::find(node, "typical")) {
    c.typical = read_typical(reader, *list, path + ".typical");
  }
  if (const Json* window = JsonReader::find(node, "window")) {
    c.window = read_window(reader, *window, path + ".window");
  }
  c.statement = short_text(reader, node, path, "statement");
  c.evidence = short_text(reader, node, path, "evidence");
  c.citation = short_text(reader, node, path, "citation");
  c.doi = read_doi(reader, node, path);
  c.note = short_text(reader, node, path, "note");
  return c;
}

std::vector<Criterion> read_list(JsonReader& reader, const Json& set) {
  std::vector<Criterion> out;
  const Json* list = JsonReader::find(set, "criteria");
  if (list == nullptr || !list->is_array() || list->size() > kMaxCriteria) {
    reader.fault(list == nullptr ? "criteria is missing" : "criteria is no list of at most 200",
                 "write criteria as a list in brackets");
    return out;
  }
  std::set<std::string> ids;
  for (std::size_t i = 0; i < list->size() && !reader.first_fault(); ++i) {
    const std::string path = JsonReader::at("", "criteria", i);
    out.push_back(read_criterion(reader, (*list)[i], path));
    if (!ids.insert(out.back().id).second) {
      reader.fault(path + ".id is " + JsonReader::in_quotes(out.back().id) + ", which stands twice",
                   "give each criterion its own id");
    }
  }
  return out;
}

CriteriaSet read_set(JsonReader& reader, const Json& json) {
  static const std::array<std::string, 1> schemas{"tidemark/criteria/1"};
  CriteriaSet set;
  if (!reader.object(json, "",
                     {"schema", "id", "extends", "title", "fixation", "note", "criteria"})) {
    return set;
  }
  (void)reader.word(json, "", "schema", schemas);
  reader.required(json, "", {"schema", "id", "title", "fixation", "criteria"});
  set.id = short_text(reader, json, "", "id");
  set.title = short_text(reader, json, "", "title");
  set.note = short_text(reader, json, "", "note");
  set.fixation = chosen(reader, json, "", "fixation", kScopes).value_or(set.fixation);
  set.criteria = read_list(reader, json);
  return set;
}

/// The set as the text has it, without a look at the built-in ones.
Expected<std::pair<CriteriaSet, std::optional<std::string>>> read_alone(std::string_view text,
                                                                        const std::string& name) {
  JsonReader reader(name);
  if (text.size() > kMaxRuleBytes) {
    return fail(ErrorKind::kBadInput, name, "larger than 1 MiB", "a set of criteria is small");
  }
  const Json json = reader.parse(text);
  CriteriaSet set;
  std::optional<std::string> extends;
  if (!reader.first_fault()) {
    if (json.is_object()) {
      set = read_set(reader, json);
      extends = reader.text(json, "", "extends");
    } else {
      reader.fault("it holds no object", "write it in braces");
    }
  }
  if (reader.first_fault()) return tl::unexpected(*reader.first_fault());
  set.sha256 = sha256_hex(text);
  return std::pair{std::move(set), std::move(extends)};
}

std::vector<std::string> built_in_ids() {
  std::vector<std::string> ids;
  for (const CriteriaSet& set : built_in_criteria()) ids.push_back(set.id);
  return ids;
}

const CriteriaSet* built_in(const std::string& id) {
  const auto& all = built_in_criteria();
  const auto found =
      std::find_if(all.begin(), all.end(), [&](const CriteriaSet& set) { return set.id == id; });
  return found == all.end() ? nullptr : &*found;
}

Error no_such_set(const std::string& name, const std::string& id) {
  const auto near = nearest_key(id, built_in_ids());
  return {ErrorKind::kBadInput, name, "there is no set of criteria " + JsonReader::in_quotes(id),
          near ? "did you mean " + JsonReader::in_quotes(*near) + "?" : "see: tidemark criteria"};
}

/// `set` with what it does not replace of `base`, the criteria of `base` first.
CriteriaSet extended(CriteriaSet set, const CriteriaSet& base) {
  std::vector<Criterion> all;
  std::set<std::string> own;
  for (const Criterion& c : set.criteria) own.insert(c.id);
  for (const Criterion& c : base.criteria) {
    if (!own.contains(c.id)) all.push_back(c);
  }
  all.insert(all.end(), set.criteria.begin(), set.criteria.end());
  set.criteria = std::move(all);
  return set;
}

}  // namespace

Expected<CriteriaSet> parse_criteria(std::string_view text, const std::string& name) {
  auto alone = read_alone(text, name);
  if (!alone) return tl::unexpected(alone.error());
  CriteriaSet set = std::move(alone->first);
  if (const CriteriaSet* same = built_in(set.id); same != nullptr && same->sha256 != set.sha256) {
    return fail(ErrorKind::kBadInput, name,
                "id is " + JsonReader::in_quotes(set.id) + ", which is a built-in set's",
                "give the set an id of its own");
  }
  if (!alone->second) return set;
  const CriteriaSet* base = built_in(*alone->second);
  if (base == nullptr) return tl::unexpected(no_such_set(name, *alone->second));
  return extended(std::move(set), *base);
}

const std::vector<CriteriaSet>& built_in_criteria() {
  static const std::vector<CriteriaSet> sets = [] {
    std::vector<CriteriaSet> out;
    for (const BuiltIn& one : built_in_texts()) {
      if (one.text.find("tidemark/criteria/1") == std::string_view::npos) continue;
      auto set = read_alone(one.text, std::string(one.file));
      assert(set.has_value());  // a test reads each of them
      if (set) out.push_back(std::move(set->first));
    }
    return out;
  }();
  return sets;
}

Expected<CriteriaSet> find_criteria(const std::string& id_or_file) {
  if (const CriteriaSet* set = built_in(id_or_file)) return *set;
  std::error_code ignored;
  if (!std::filesystem::exists(id_or_file, ignored)) {
    return tl::unexpected(no_such_set("criteria", id_or_file));
  }
  const auto text = read_text(id_or_file, kMaxRuleBytes);
  if (!text) return tl::unexpected(text.error());
  return parse_criteria(*text, std::filesystem::path(id_or_file).filename().string());
}

const CriteriaSet& default_criteria(const StemHold& stem) {
  const char* id = "fixation-unknown/1";
  if (stem.fixation == Fixation::kUncemented) id = "uncemented-default/1";
  if (stem.principle == CementPrinciple::kPolishedTaper) id = "cemented-polished-taper/1";
  if (stem.principle == CementPrinciple::kCompositeBeam) id = "cemented-composite-beam/1";
  const CriteriaSet* set = built_in(id);
  assert(set != nullptr);
  return *set;
}

std::optional<bool> holds_for(Scope scope, const StemHold& stem) {
  if (scope == Scope::kAny) return true;
  if (!stem.fixation) return {};
  const bool cemented = *stem.fixation == Fixation::kCemented;
  if (scope == Scope::kUncemented) return !cemented;
  if (scope == Scope::kCemented || !cemented) return cemented;
  if (!stem.principle) return {};
  return (scope == Scope::kPolishedTaper) == (*stem.principle == CementPrinciple::kPolishedTaper);
}

}  // namespace tidemark::assessment
