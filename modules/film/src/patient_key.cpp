#include "tidemark/film/patient_key.h"

#include "dicom_tags.h"

namespace tidemark::film {

bool may_be_same_patient(const std::string& a, const std::string& b) {
  const auto border_a = a.find(kBeforeIssuer);
  const auto border_b = b.find(kBeforeIssuer);
  if (a.substr(0, border_a) != b.substr(0, border_b)) return false;
  if (border_a == std::string::npos || border_b == std::string::npos) return true;
  return a.substr(border_a) == b.substr(border_b);
}

}  // namespace tidemark::film
