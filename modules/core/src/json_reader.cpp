#include "tidemark/core/json_reader.h"

#include <algorithm>
#include <set>

namespace tidemark {
namespace {

std::string listed(std::span<const std::string> words) {
  std::string out;
  for (std::size_t i = 0; i < words.size(); ++i) {
    out += (i == 0 ? "" : i + 1 == words.size() ? " or " : ", ") + words[i];
  }
  return out;
}

std::string number_text(double value) {
  std::string text = nlohmann::json(value).dump();
  if (text.ends_with(".0")) text.resize(text.size() - 2);
  return text;
}

}  // namespace

std::optional<std::string> nearest_key(std::string_view word,
                                       const std::vector<std::string>& known) {
  if (word.size() > 64) return {};
  std::optional<std::string> best;
  std::size_t best_distance = 0;
  for (const std::string& candidate : known) {
    std::vector<std::size_t> row(candidate.size() + 1);
    for (std::size_t j = 0; j < row.size(); ++j) row[j] = j;
    for (std::size_t i = 0; i < word.size(); ++i) {
      std::size_t diagonal = row[0]++;
      for (std::size_t j = 0; j < candidate.size(); ++j) {
        const std::size_t replaced = diagonal + (word[i] == candidate[j] ? 0 : 1);
        diagonal = row[j + 1];
        row[j + 1] = std::min({replaced, row[j] + 1, row[j + 1] + 1});
      }
    }
    const bool near = row.back() * 2 <= std::max(word.size(), candidate.size());
    if (near && (!best || row.back() < best_distance)) {
      best = candidate;
      best_distance = row.back();
    }
  }
  return best;
}

std::string JsonReader::in_quotes(std::string_view text) {
  std::string out = "\"";
  for (const char c : text.substr(0, 40)) {
    const bool plain = static_cast<unsigned char>(c) >= 0x20;
    out += plain ? c : '?';
  }
  return out + (text.size() > 40 ? "...\"" : "\"");
}

std::string JsonReader::shown(const Json& value) {
  if (value.is_string()) return in_quotes(value.get_ref<const std::string&>());
  if (value.is_object()) return "an object";
  if (value.is_array()) return "a list of " + std::to_string(value.size());
  return value.dump();
}

void JsonReader::fault(std::string wrong, std::string remedy) {
  if (!fault_) fault_ = Error{ErrorKind::kBadInput, subject_, std::move(wrong), std::move(remedy)};
}

bool JsonReader::object(const Json& node, const std::string& path,
                        const std::vector<std::string>& known) {
  if (fault_) return false;
  if (!node.is_object()) {
    fault(path + " is " + shown(node) + ", not an object", "write it in braces");
    return false;
  }
  for (const auto& [key, value] : node.items()) {
    if (std::find(known.begin(), known.end(), key) != known.end()) continue;
    const auto near = nearest_key(key, known);
    fault((path.empty() ? std::string("key ") : path + " has the key ") + in_quotes(key) +
              (path.empty() ? " is not known" : ", which is not known"),
          near ? "did you mean " + in_quotes(*near) + "?" : "the keys here are " + listed(known));
    return false;
  }
  return true;
}

std::optional<std::string> JsonReader::text(const Json& parent, const std::string& path,
                                            const std::string& key) {
  const Json* node = find(parent, key);
  if (node == nullptr) return {};
  if (node->is_string() && !node->get_ref<const std::string&>().empty()) {
    return node->get<std::string>();
  }
  fault(at(path, key) + " is " + shown(*node) + ", not a text", "write it in double quotes");
  return {};
}

std::optional<std::size_t> JsonReader::word(const Json& parent, const std::string& path,
                                            const std::string& key,
                                            std::span<const std::string> words) {
  const Json* node = find(parent, key);
  if (node == nullptr) return {};
  if (node->is_string()) {
    const auto found = std::find(words.begin(), words.end(), node->get_ref<const std::string&>());
    if (found != words.end()) return static_cast<std::size_t>(found - words.begin());
  }
  fault(at(path, key) + " is " + shown(*node), "write " + listed(words));
  return {};
}

std::optional<double> JsonReader::number(const Json& parent, const std::string& path,
                                         const std::string& key, Range range) {
  const Json* node = find(parent, key);
  return node == nullptr ? std::nullopt : number(*node, at(path, key), range);
}

std::optional<double> JsonReader::number(const Json& node, const std::string& path, Range range) {
  if (node.is_number()) {
    const double value = node.get<double>();
    if (value >= range.low && value <= range.high) return value;
  }
  fault(path + " is " + shown(node),
        "write a number from " + number_text(range.low) + " to " + number_text(range.high));
  return {};
}

std::optional<Date> JsonReader::date(const Json& parent, const std::string& path,
                                     const std::string& key) {
  const auto written = text(parent, path, key);
  if (!written) return {};
  const auto day = written->size() == 10 ? parse_date(*written) : std::nullopt;
  if (!day) {
    fault(at(path, key) + " is " + in_quotes(*written) + ", not a date", "write YYYY-MM-DD");
  }
  return day;
}

std::optional<bool> JsonReader::yes_or_no(const Json& parent, const std::string& path,
                                          const std::string& key) {
  const Json* node = find(parent, key);
  if (node == nullptr) return {};
  if (node->is_boolean()) return node->get<bool>();
  fault(at(path, key) + " is " + shown(*node), "write true or false");
  return {};
}

void JsonReader::required(const Json& node, const std::string& path,
                          const std::vector<std::string>& keys) {
  for (const std::string& key : keys) {
    if (find(node, key) == nullptr) fault(at(path, key) + " is missing", "give it");
  }
}

std::vector<std::string> JsonReader::texts(const Json& parent, const std::string& path,
                                           const std::string& key) {
  std::vector<std::string> out;
  const Json* node = find(parent, key);
  if (node == nullptr) return out;
  if (!node->is_array()) {
    fault(at(path, key) + " is " + shown(*node) + ", not a list", "write texts in brackets");
    return out;
  }
  for (std::size_t i = 0; i < node->size(); ++i) {
    const Json& one = (*node)[i];
    if (!one.is_string() || one.get_ref<const std::string&>().empty()) {
      fault(at(path, key, i) + " is " + shown(one) + ", not a text", "write it in double quotes");
      return {};
    }
    out.push_back(one.get<std::string>());
  }
  return out;
}

const JsonReader::Json* JsonReader::find(const Json& parent, const std::string& key) {
  const auto found = parent.find(key);
  return found == parent.end() ? nullptr : &*found;
}
std::string JsonReader::at(const std::string& path, const std::string& key) {
  return path.empty() ? key : path + "." + key;
}

std::string JsonReader::at(const std::string& path, const std::string& key, std::size_t i) {
  return at(path, key) + "[" + std::to_string(i) + "]";
}

JsonReader::Json JsonReader::parse(std::string_view text) {
  std::vector<std::set<std::string>> keys;
  const auto watch = [&](int /*depth*/, Json::parse_event_t event, Json& parsed) {
    if (event == Json::parse_event_t::object_start) keys.emplace_back();
    if (event == Json::parse_event_t::object_end) keys.pop_back();
    if (event == Json::parse_event_t::key &&
        !keys.back().insert(parsed.get<std::string>()).second) {
      fault(
          "key " + in_quotes(parsed.get_ref<const std::string&>()) + " stands twice in one object",
          "keep one of them");
    }
    return true;
  };
  try {
    return Json::parse(text, watch);
  } catch (const Json::out_of_range& e) {
    // It names the number between quotes, and not its place.
    const std::string told = e.what();
    const auto from = told.find('\'');
    const std::string number =
        from == std::string::npos ? "" : told.substr(from + 1, told.rfind('\'') - from - 1);
    fault("a number is too large for a computer (" + number.substr(0, 40) + ")", "correct it");
    return {};
  } catch (const Json::exception& e) {
    const auto* parse = dynamic_cast<const Json::parse_error*>(&e);
    const std::size_t byte = parse != nullptr ? std::min(parse->byte, text.size()) : 0;
    const auto line = 1 + std::count(text.begin(), text.begin() + static_cast<long>(byte), '\n');
    fault("no JSON from line " + std::to_string(line) + " on",
          "look for a missing comma, bracket or quote there");
    return {};
  }
}

}  // namespace tidemark
