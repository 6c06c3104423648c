#pragma once

#include <cstddef>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "tidemark/core/expected.h"

namespace tidemark {

/// Largest input file that is read, in bytes. House choice: a film of 10,000 x 10,000 pixels of 16
/// bits has 200 MB; anything beyond this is another kind of file or a hostile one.
inline constexpr std::size_t kMaxFileBytes = std::size_t{512} << 20U;

/// All bytes of one regular file (or of what a symbolic link leads to). The size is looked up
/// before anything is allocated, and a file that grows while it is read is refused as well.
///
/// @return kBadInput when it is missing, a folder, a device or pipe, not readable, or larger than
///         `max_bytes`. The subject of the error is the file name without its folder. An empty file
///         is no error here: it gives an empty vector.
[[nodiscard]] Expected<std::vector<std::byte>> read_file(const std::filesystem::path& file,
                                                         std::size_t max_bytes = kMaxFileBytes);

/// The same as text, the bytes as they are.
[[nodiscard]] Expected<std::string> read_text(const std::filesystem::path& file,
                                              std::size_t max_bytes = kMaxFileBytes);

/// Writes a whole file or nothing: the bytes go to a new file beside the target, are flushed to the
/// disk (fsync) and take the target's name in one step (POSIX rename). A reader sees the old file
/// or the new one, never a part; after an error the old one still stands and the new one is
/// removed. A target that is a symbolic link is replaced by the file, not followed.
///
/// @return kNotWritable when the folder is missing or not writable, the disk is full, or the target
///         is a folder.
[[nodiscard]] Expected<void> write_file_atomically(const std::filesystem::path& file,
                                                   std::span<const std::byte> bytes);

/// The same for text; the bytes are written as they are.
[[nodiscard]] Expected<void> write_file_atomically(const std::filesystem::path& file,
                                                   std::string_view text);

}  // namespace tidemark
