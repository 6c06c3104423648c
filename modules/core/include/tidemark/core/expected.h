#pragma once

#include <string>
#include <tl/expected.hpp>
#include <utility>

namespace tidemark {

/// Why something could not be done. Each maps to one exit code (docs/design.md, command line).
enum class ErrorKind {
  kUsage,         ///< the caller's options do not fit: exit 2
  kBadInput,      ///< a file or value is unusable: exit 3
  kCannotTell,    ///< the data do not say: the film or pair is `not_measured`
  kNotConverged,  ///< an iteration ended before its minimum: the film or pair is `not_measured`
  kNotWritable,   ///< an output cannot be written: exit 4
};

/// One sentence for a person: `subject` (file or thing), what is `wrong`, what to do (`remedy`).
/// Never holds a patient's identity.
struct Error {
  ErrorKind kind = ErrorKind::kBadInput;
  std::string subject;
  std::string wrong;
  std::string remedy;

  /// "subject: wrong; remedy"
  [[nodiscard]] std::string sentence() const {
    return subject + ": " + wrong + (remedy.empty() ? "" : "; " + remedy);
  }
};

/// Either a value or the reason there is none. Becomes std::expected with C++23.
template <class T>
using Expected = tl::expected<T, Error>;

/// Shorthand for the return statement of a function that gives an Expected.
[[nodiscard]] inline tl::unexpected<Error> fail(ErrorKind kind, std::string subject,
                                                std::string wrong, std::string remedy = {}) {
  return tl::unexpected(Error{kind, std::move(subject), std::move(wrong), std::move(remedy)});
}

}  // namespace tidemark
