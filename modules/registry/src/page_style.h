#pragma once

namespace tidemark::registry {

/// The style sheet of the page, modules/registry/page/cohort.css.
[[nodiscard]] const char* page_style();

}  // namespace tidemark::registry
