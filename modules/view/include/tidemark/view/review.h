#pragma once

#include <cstddef>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "tidemark/core/expected.h"
#include "tidemark/followup/series.h"
#include "tidemark/view/sheet.h"

namespace tidemark::view {

/// One correction: what was done, for a person, and the sheet after it.
struct Step {  // NOLINT(bugprone-exception-escape): moving its parts throws nothing
  std::string told;
  Sheet sheet;
};

/// The sheet of one hip under correction: unlimited undo and redo, and a journal.
///
/// Each step goes to the journal and to the disk before correct(), undo() or redo() return, so that
/// a kill at any moment loses nothing that was done. The journal stands outside of the folder of
/// the films; what is open in one window cannot be opened in a second one. Films are never written,
/// series.json by save() only.
class Review {
 public:
  /// Opens the folder's sheet, or its films where there is none, and takes up unsaved steps that an
  /// earlier review of the same sheet left.
  /// @param folder    as followup::load_series takes it
  /// @param journals  folder of the journals; made if it is missing
  /// @param files     the films of the hip by their names, where the folder holds others too;
  /// empty:
  ///                  all of it. Steps of another choice of films are left where they are.
  /// @return as load_series, parse_sheet and check_choice; kNotWritable when the journal cannot be
  ///         kept, or holds steps that cannot be taken up and not be put aside; kBadInput when
  ///         another window has this hip open, or when the name of a film is not UTF-8: no sheet
  ///         could hold it
  [[nodiscard]] static Expected<Review> open(const std::filesystem::path& folder,
                                             const std::filesystem::path& journals,
                                             const std::vector<std::string>& files = {});

  Review(Review&&) noexcept;
  Review& operator=(Review&&) noexcept;
  Review(const Review&) = delete;
  Review& operator=(const Review&) = delete;
  /// Unsaved steps stay in the journal.
  ~Review();

  [[nodiscard]] const std::filesystem::path& folder() const { return folder_; }
  /// The films that were chosen when it was opened; empty: the whole folder.
  [[nodiscard]] const std::vector<std::string>& chosen_files() const { return files_; }
  [[nodiscard]] const Sheet& sheet() const;
  /// What followup::measure is given: exactly what parse_sheet makes of the file once saved. Its
  /// films are those of sheet(), in that order, whatever was put into the folder since.
  [[nodiscard]] Expected<followup::Series> series() const;
  /// Films that were put into a folder without series.json since it was opened: corrections go to
  /// films by their place in the list, so that they are not taken in before it is opened again.
  [[nodiscard]] std::vector<std::string> films_added() const;

  /// Films beside a series.json that does not list them: no one measures them until it does.
  [[nodiscard]] std::vector<std::string> films_not_listed() const;

  /// Takes one correction; what was undone before it can no longer be redone. A sheet that is
  /// equal to the present one is no step.
  /// @return as parse_sheet when the sheet would not be valid, kBadInput for a film's name that is
  ///         not UTF-8: nothing is changed then;
  ///         kNotWritable when the journal cannot be written: the step holds nevertheless
  [[nodiscard]] Expected<void> correct(const std::string& told, const Sheet& sheet);
  /// @return what was taken back or done again, nothing when there was nothing to; kNotWritable as
  ///         correct(): it is taken back, or done again, nevertheless
  [[nodiscard]] Expected<std::optional<std::string>> undo();
  [[nodiscard]] Expected<std::optional<std::string>> redo();
  [[nodiscard]] const std::vector<Step>& steps() const { return steps_; }
  /// How many of steps() hold; the others can be redone.
  [[nodiscard]] std::size_t done() const { return done_; }
  /// Whether the sheet differs from series.json.
  [[nodiscard]] bool unsaved() const;
  /// How many unsaved steps an earlier review had left when this one was opened.
  [[nodiscard]] std::size_t recovered() const { return recovered_; }
  /// What a person must know of the journal, e.g. that it belonged to another sheet; may be empty.
  [[nodiscard]] const std::string& note() const { return note_; }

  /// Writes series.json, whole or not at all. Undo goes on beyond it.
  /// @return kNotWritable; kBadInput when the file has changed since it was opened
  [[nodiscard]] Expected<void> save();
  /// Gives up what is unsaved: the journal is emptied.
  void discard();

 private:
  class Journal;
  /// What is opened, before any step.
  struct Start;
  [[nodiscard]] static Expected<Start> start_of(const std::filesystem::path& folder,
                                                const std::vector<std::string>& files);
  Review(std::filesystem::path folder, Start start, std::unique_ptr<Journal> journal);
  [[nodiscard]] Expected<void> note_step(const std::string& told);
  [[nodiscard]] Expected<void> take_up();

  std::filesystem::path folder_;
  std::vector<std::string> files_;
  Sheet start_;                             ///< before the first step
  std::string on_disk_;                     ///< text of series.json; empty without one
  std::optional<followup::Series> listed_;  ///< the folder as it was opened, without series.json
  Sheet saved_;
  std::vector<Step> steps_;
  std::size_t done_ = 0;
  std::size_t recovered_ = 0;
  std::string note_;
  std::unique_ptr<Journal> journal_;
};

/// Whether these films of a folder can be opened alone: where series.json lists the films of the
/// hip, it alone says which they are.
/// @return kBadInput where series.json lists others, or as load_series where it cannot be read
[[nodiscard]] Expected<void> check_choice(const std::filesystem::path& folder,
                                          const std::vector<std::string>& files);

/// Where journals stand unless the caller says otherwise: $XDG_STATE_HOME/tidemark/review, else
/// ~/.local/state/tidemark/review (XDG Base Directory Specification 0.8), else the temporary
/// folder.
[[nodiscard]] std::filesystem::path journal_folder();

}  // namespace tidemark::view
