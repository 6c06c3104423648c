#pragma once

#include <string>

namespace tidemark::film {

/// Whether two keys (FilmFacts::patient_key) may be of one patient: the ids are the same, and so
/// are those who issued them where both files name one. Issuers are often lost on the way through
/// archives and discs.
[[nodiscard]] bool may_be_same_patient(const std::string& a, const std::string& b);

}  // namespace tidemark::film
