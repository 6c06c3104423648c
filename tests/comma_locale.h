#pragma once

#include <clocale>
#include <cstdlib>
#include <string>

#include "scratch.h"

namespace tidemark::test {

/// A locale whose decimal sign is a comma, made by `localedef` and in force for C's functions (as a
/// desktop's is once Qt has started) until the object goes.
class CommaLocale {
 public:
  CommaLocale() {
    const std::string made = (folder_ / "de_DE.UTF-8").string();
    const std::string command = "localedef -i de_DE -f UTF-8 " + made + " >/dev/null 2>&1";
    (void)std::system(command.c_str());
    ::setenv("LOCPATH", folder_.path().c_str(), 1);
    in_force_ = std::setlocale(LC_NUMERIC, "de_DE.UTF-8") != nullptr;
  }
  CommaLocale(const CommaLocale&) = delete;
  CommaLocale& operator=(const CommaLocale&) = delete;
  ~CommaLocale() {
    std::setlocale(LC_NUMERIC, "C");
    ::unsetenv("LOCPATH");
  }

  /// Whether there is one; not without the sources of locales (Debian: package locales).
  [[nodiscard]] bool in_force() const { return in_force_; }

 private:
  Scratch folder_;
  bool in_force_ = false;
};

}  // namespace tidemark::test
