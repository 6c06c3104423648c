#pragma once

#include <QImage>
#include <QWidget>
#include <cstddef>
#include <functional>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "overlay.h"
#include "tidemark/core/geometry.h"
#include "tidemark/view/picture.h"

class QPainter;

namespace tidemark::view {

/// Which part of the world a canvas shows. Two canvases with one camera move together.
struct Camera {
  Vec2 centre = Vec2::Zero();  ///< world px in the middle of the canvas
  double zoom = 1.0;           ///< screen px (logical) per world px
};

/// What a canvas shows of the films.
struct CanvasContent {
  Laid first;  ///< film_from_screen is film_from_world here
  Laid second;
  std::vector<std::size_t> films;  ///< their indices in the series: of `first`, then of `second`
  Mix mix = Mix::kFirst;
  Overlay overlay;
  QString title;  ///< which film this is, in the upper left corner
  QString empty;  ///< shown in place of a film that is not there
};

/// One view of films, with mouse and keys. What is done with it goes out through the functions; it
/// changes nothing by itself but what it shows.
class FilmCanvas : public QWidget {
 public:
  struct Told {
    std::function<void(const Camera&)> camera;
    std::function<void(const Window&)> window;
    std::function<void(double)> share;
    std::function<void(const std::optional<Handle>&)> picked;
    /// A handle was let go of at a place of the world.
    std::function<void(const Handle&, const Vec2&)> moved;
    std::function<void()> entered;  ///< it has the focus now
  };

  FilmCanvas(const QString& name, Told told, QWidget* parent);

  /// A handle that is held stays where it is on its film, wherever that lies from now on.
  void set_content(CanvasContent content);
  void set_camera(const Camera& camera);
  void set_window(const Window& window);
  void set_share(double share);
  void set_shown(const std::set<Layer>& layers);
  void set_picked(const std::optional<Handle>& handle);
  /// The films move under a hand. Until 120 ms after the last call films are drawn in larger pixels
  /// where a frame takes longer than `budget_ms`; then once more in full. Marks are always drawn in
  /// full.
  void hurry(double budget_ms);
  /// Side of the pixels that films are drawn in now, in those of the screen; 1 unless hurried.
  [[nodiscard]] int coarseness() const;

  [[nodiscard]] const CanvasContent& content() const { return content_; }
  [[nodiscard]] const Camera& camera() const { return camera_; }
  [[nodiscard]] Vec2 world_from_screen(const QPointF& p) const;
  [[nodiscard]] QPointF screen_from_world(const Vec2& p) const;
  /// Where a handle is shown now, world px; absent when this canvas does not show it.
  [[nodiscard]] std::optional<Vec2> place_of(const Handle& handle) const;
  /// Moves the picked handle by so many px of the screen, and lets go of it after a moment.
  void nudge(const Vec2& by_px);
  /// Lets go now of a handle that is held.
  void let_go();
  /// The handles of this canvas in the order of the overlay, those of hidden layers left out.
  [[nodiscard]] std::vector<Handle> handles() const;

 protected:
  void paintEvent(QPaintEvent* event) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;
  void mouseDoubleClickEvent(QMouseEvent* event) override;
  void wheelEvent(QWheelEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;
  void focusInEvent(QFocusEvent* event) override;
  void focusOutEvent(QFocusEvent* event) override;
  void timerEvent(QTimerEvent* event) override;

 private:
  enum class Drag { kNone, kPan, kWindow, kHandle, kEdge };
  /// Has the picked figure be that of a film of this canvas: a hand puts it where it sees it.
  /// @return whether one is picked that is
  bool pick_on_this();
  /// Puts the picked figure of a film of this canvas there.
  void put_at(const Vec2& world);
  [[nodiscard]] std::optional<Handle> handle_at(const QPointF& p) const;
  [[nodiscard]] bool at_edge(const QPointF& p) const;
  /// What a frame took.
  struct FrameTime {
    double films_ms = 0.0;
    double marks_ms = 0.0;
  };
  [[nodiscard]] int coarser_by(const FrameTime& frame) const;
  void paint_over(QPainter& painter) const;  ///< all that stands on the films
  void paint_films(QPainter& painter);
  void paint_marks(QPainter& painter) const;
  void paint_point(QPainter& painter, const PointMark& mark) const;
  void paint_words(QPainter& painter) const;

  Told told_;
  CanvasContent content_;
  Camera camera_;
  Window window_;
  double share_ = 0.5;
  std::set<Layer> shown_;
  std::optional<Handle> picked_;
  std::optional<Vec2> held_at_;  ///< where the picked handle is held, world px
  Drag drag_ = Drag::kNone;
  QPointF last_;
  QPointF pressed_at_;
  bool drags_ = false;         ///< the pointer went farther than a hand trembles
  Vec2 grasp_ = Vec2::Zero();  ///< from the pointer to the handle when it was taken, screen px
  int nudge_timer_ = 0;
  int settle_timer_ = 0;    ///< runs while hurried
  double budget_ms_ = 0.0;  ///< of a frame, while hurried
  FrameTime full_;          ///< of the last frame in full
  int coarse_ = 1;          ///< coarseness() while hurried
};

}  // namespace tidemark::view
