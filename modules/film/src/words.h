#pragma once

#include <cstddef>
#include <cstdint>
#include <string>

namespace tidemark::film {

inline constexpr const char* kExportAgain = "export it again from the archive";
inline constexpr const char* kExportGrey = "export it as a greyscale film";
/// Note of a grey film on which something is drawn in colour.
inline constexpr const char* kColouredMarks =
    "marks in colour were read by their brightness; the film itself is grey";

/// 1204 -> "1,204".
[[nodiscard]] std::string grouped(std::uint64_t number);

/// "the file ends too early, after 1,204 bytes".
[[nodiscard]] std::string cut_off(std::size_t bytes);

/// The text with anything but printable ASCII replaced by '?', at most 64 characters, without
/// spaces at its ends: headers are hostile until shown otherwise.
[[nodiscard]] std::string plain(const std::string& text);

}  // namespace tidemark::film
