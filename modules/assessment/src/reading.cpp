#include "reading.h"

#include <algorithm>

namespace tidemark::assessment {
namespace {

constexpr std::size_t kMaxText = 1000;  // house choice

}  // namespace

std::string short_text(JsonReader& reader, const JsonReader::Json& node, const std::string& path,
                       const std::string& key) {
  std::string text = reader.text(node, path, key).value_or("");
  if (text.size() > kMaxText) {
    reader.fault(JsonReader::at(path, key) + " has more than 1,000 characters", "write less");
  }
  if (std::any_of(text.begin(), text.end(),
                  [](char one) { return static_cast<unsigned char>(one) < 0x20; })) {
    reader.fault(JsonReader::at(path, key) + " holds a control character", "write it on one line");
  }
  return text;
}

std::optional<std::string> read_doi(JsonReader& reader, const JsonReader::Json& node,
                                    const std::string& path) {
  auto doi = reader.text(node, path, "doi");
  if (doi && (!doi->starts_with("10.") || doi->find('/') == std::string::npos ||
              doi->find_first_of(" ?") != std::string::npos)) {
    reader.fault(path + ".doi is " + JsonReader::in_quotes(*doi) + ", which is no DOI",
                 "write it as 10.1000/xyz, or leave it out when it is not sure");
  }
  return doi;
}

}  // namespace tidemark::assessment
