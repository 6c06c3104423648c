#pragma once

#include <string_view>

namespace tidemark::report {

// Files of modules/report/text and modules/report/page, put into the program when it is built.
extern const std::string_view kEnglishText;
extern const std::string_view kGermanText;
extern const std::string_view kSaidText;
extern const std::string_view kMarkup;
extern const std::string_view kStyle;
extern const std::string_view kScript;

}  // namespace tidemark::report
