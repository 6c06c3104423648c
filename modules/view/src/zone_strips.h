#pragma once

#include <QImage>
#include <QString>
#include <QWidget>
#include <cstddef>
#include <functional>
#include <map>
#include <optional>
#include <vector>

#include "tidemark/followup/result.h"

namespace tidemark::view {

/// The stem's interface unrolled by zone, the past over the present, one column a place of the
/// stem. A click chooses a zone and a place; left and right arrow choose the next zone.
class ZoneStrips : public QWidget {
 public:
  /// A column on one film.
  struct OnFilm {
    std::size_t film = 0;  ///< index in the series
    Vec2 stored_px = Vec2::Zero();
  };
  /// Where a column lies on the films; absent: not on that film.
  struct Place {
    int zone = 0;
    std::optional<OnFilm> past;
    std::optional<OnFilm> present;
  };
  using Chosen = std::function<void(const Place&)>;

  ZoneStrips(Chosen chosen, QWidget* parent);

  /// @param unrolled null: nothing to show. Copied.
  /// @param titles   of the strips, the past first
  /// @param heads    what stands above each zone, by its number
  void show_film(const followup::UnrolledFilm* unrolled, std::vector<QString> titles,
                 std::map<int, QString> heads);
  /// Frames a zone; 0: none.
  void set_zone(int zone);
  /// The place in the middle of a zone.
  [[nodiscard]] Place middle_of(int zone) const;
  /// Its span on this widget, px; empty when it is not shown.
  [[nodiscard]] QRect rect_of(int zone) const;
  [[nodiscard]] QSize sizeHint() const override;

 protected:
  void paintEvent(QPaintEvent* event) override;
  void mousePressEvent(QMouseEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;

 private:
  [[nodiscard]] Place place_at(int x) const;
  void paint_titles(QPainter& painter) const;
  void choose(int zone);

  Chosen chosen_;
  std::optional<followup::UnrolledFilm> unrolled_;
  std::vector<QImage> images_;
  std::vector<QString> titles_;
  std::map<int, QString> heads_;
  int zone_ = 0;
};

}  // namespace tidemark::view
