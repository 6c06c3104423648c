#pragma once

#include <string>

namespace tidemark {

/// Something a reader of a result must know. `id` is stable and lower_case_with_underscores;
/// `text` is one sentence for a person.
struct Flag {
  std::string id;
  std::string text;
};

}  // namespace tidemark
