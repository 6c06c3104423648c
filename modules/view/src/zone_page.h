#pragma once

#include <QLabel>
#include <QScrollArea>
#include <QTableWidget>
#include <QTextBrowser>
#include <QWidget>
#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <vector>

#include "help_text.h"
#include "tidemark/followup/result.h"
#include "zone_strips.h"

namespace tidemark::view {

/// One interface of one zone of the chosen film.
struct ZonePlace {
  int zone = 0;
  lucency::Interface interface = lucency::Interface::kStemBone;
  lucency::State program = lucency::State::kNotSeen;
  bool speaks = true;  ///< for its zone (speaking_for)
};

/// Radiolucent lines of the chosen film: the interface unrolled, what the program says of each
/// zone, and the readers' marks.
class ZonePage : public QWidget {
 public:
  struct Told {
    std::function<void(const ZoneStrips::Place&)> go_to;
    /// No opinion: the mark is taken away.
    std::function<void(const ZonePlace&, std::optional<followup::Opinion>)> mark;
  };
  ZonePage(Told told, QWidget* parent);

  /// @param film index in Result::films
  /// @param marks of that film
  /// @param words what to know of the lines, HTML
  void show_film(const followup::Result& result, std::size_t film,
                 const std::vector<followup::ZoneMark>& marks, const QString& words);
  void show_nothing();
  /// Marks the row that is chosen.
  void mark(std::optional<followup::Opinion> opinion);
  /// The row that is chosen.
  [[nodiscard]] std::optional<ZonePlace> chosen() const;
  /// What explains the number that the keys are on; absent: there is no such film.
  [[nodiscard]] std::optional<Help> help_at(const QWidget* focus, const HelpFrom& from,
                                            std::size_t film) const;
  [[nodiscard]] ZoneStrips* strips() const { return strips_; }
  [[nodiscard]] QTableWidget* table() const { return table_; }

 private:
  [[nodiscard]] QWidget* make_buttons();
  void fill(const followup::Result& result, const followup::FilmResult& film,
            std::span<const lucency::ZoneChange> changes,
            const std::vector<followup::ZoneMark>& marks);
  void scroll_to(int zone);
  void row_chosen(int row);
  void zone_chosen(const ZoneStrips::Place& place);

  Told told_;
  QScrollArea* scroll_;
  ZoneStrips* strips_;
  QTableWidget* table_;
  QWidget* buttons_;
  QTextBrowser* words_;
  std::vector<ZonePlace> rows_;
};

}  // namespace tidemark::view
