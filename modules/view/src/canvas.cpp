#include "canvas.h"

#include <QApplication>
#include <QElapsedTimer>
#include <QFocusEvent>
#include <QKeyEvent>
#include <QMouseEvent>
#include <QPainter>
#include <QPainterPath>
#include <QWheelEvent>
#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace tidemark::view {
namespace {

// Blue and orange stay apart with any common colour vision (Okabe and Ito, 2008, from memory);
// dashes tell them apart without colour. The dark edge keeps both visible on metal.
const QColor kReferenceInk(0x6C, 0xC4, 0xF5);
const QColor kFollowUpInk(0xFF, 0xB3, 0x47);
const QColor kEdgeInk(0x10, 0x14, 0x18);
const QColor kPickedInk(0xFF, 0xFF, 0xFF);
const QColor kWords(0xE8, 0xEC, 0xF0);
constexpr double kReach = 11.0;     ///< of the pointer to a handle, px
constexpr double kEdgeReach = 7.0;  ///< to the edge between the films
constexpr int kNudgeMs = 350;       ///< after the last arrow key the handle is let go of
constexpr double kWheelStep = 1.15;
constexpr int kSettleMs = 120;  ///< after the last move films are drawn in full again
constexpr int kCoarsest = 3;  ///< px of the screen; coarser ones hide where bone ends. House choice

Vec2 vec(const QPointF& p) { return {p.x(), p.y()}; }

/// Absent: that film is not shown.
std::optional<Affine2> film_from_world(const CanvasContent& content, std::size_t film) {
  const auto at = std::find(content.films.begin(), content.films.end(), film);
  if (at == content.films.end()) return {};
  return (at == content.films.begin() ? content.first : content.second).film_from_screen;
}

QColor ink_of(Whose whose) { return whose == Whose::kReference ? kReferenceInk : kFollowUpInk; }

QPen pen_of(Layer layer, Whose whose) {
  QPen pen(ink_of(whose), layer == Layer::kOutline ? 1.8 : 1.3);
  pen.setCosmetic(true);
  if (whose == Whose::kFollowUp) pen.setDashPattern({6.0, 4.0});
  if (layer == Layer::kZones) pen.setDashPattern({1.5, 3.0});
  if (layer == Layer::kLines) pen.setWidthF(4.5);
  return pen;
}

/// On a dark plate: thin letters drown in white metal, whatever edge they have.
void draw_text(QPainter& painter, const QPointF& at, const QString& text, const QColor& ink) {
  constexpr int kPlateAlpha = 190;
  const QFontMetricsF metrics(painter.font());
  const QRectF plate(at.x() - 3.0, at.y() - metrics.ascent(), metrics.horizontalAdvance(text) + 6.0,
                     metrics.height());
  QColor dark = kEdgeInk;
  dark.setAlpha(kPlateAlpha);
  painter.setRenderHint(QPainter::Antialiasing);
  painter.setPen(Qt::NoPen);
  painter.setBrush(dark);
  painter.drawRoundedRect(plate, 3.0, 3.0);
  painter.setBrush(Qt::NoBrush);
  painter.setPen(ink);
  painter.drawText(at, text);
}

}  // namespace

FilmCanvas::FilmCanvas(const QString& name, Told told, QWidget* parent)
    : QWidget(parent), told_(std::move(told)) {
  setObjectName(name);
  setFocusPolicy(Qt::StrongFocus);
  setMouseTracking(true);
  setMinimumSize(160, 160);
  setAttribute(Qt::WA_OpaquePaintEvent);
}

void FilmCanvas::set_content(CanvasContent content) {
  if (held_at_ && picked_) {
    const auto before = film_from_world(content_, picked_->film);
    const auto now = film_from_world(content, picked_->film);
    if (before && now) held_at_ = now->inverse().apply(before->apply(*held_at_));
  }
  content_ = std::move(content);
  setAccessibleDescription(content_.title);
  update();
}

void FilmCanvas::set_camera(const Camera& camera) {
  camera_ = camera;
  update();
}

void FilmCanvas::set_window(const Window& window) {
  window_ = window;
  update();
}

void FilmCanvas::set_share(double share) {
  share_ = share;
  update();
}

void FilmCanvas::set_shown(const std::set<Layer>& layers) {
  shown_ = layers;
  update();
}

void FilmCanvas::set_picked(const std::optional<Handle>& handle) {
  if (picked_ == handle) return;
  let_go();
  picked_ = handle;
  held_at_.reset();
  update();
}

Vec2 FilmCanvas::world_from_screen(const QPointF& p) const {
  return camera_.centre + (vec(p) - 0.5 * Vec2(width(), height())) / camera_.zoom;
}

QPointF FilmCanvas::screen_from_world(const Vec2& p) const {
  const Vec2 s = camera_.zoom * (p - camera_.centre) + 0.5 * Vec2(width(), height());
  return {s.x(), s.y()};
}

std::optional<Vec2> FilmCanvas::place_of(const Handle& handle) const {
  if (held_at_ && picked_ == handle) return held_at_;
  for (const PointMark& mark : content_.overlay.points) {
    if (mark.handle == handle) return mark.at;
  }
  return {};
}

std::vector<Handle> FilmCanvas::handles() const {
  std::vector<Handle> out;
  for (const PointMark& mark : content_.overlay.points) {
    if (mark.handle && shown_.contains(mark.layer)) out.push_back(*mark.handle);
  }
  return out;
}

std::optional<Handle> FilmCanvas::handle_at(const QPointF& p) const {
  std::optional<Handle> out;
  double nearest = kReach;
  for (const PointMark& mark : content_.overlay.points) {
    if (!mark.handle || !shown_.contains(mark.layer)) continue;
    const double away = (vec(screen_from_world(mark.at)) - vec(p)).norm();
    if (away > nearest) continue;
    nearest = away;
    out = mark.handle;
  }
  return out;
}

bool FilmCanvas::at_edge(const QPointF& p) const {
  return content_.mix == Mix::kEdge && std::abs(p.x() - share_ * width()) <= kEdgeReach;
}

void FilmCanvas::let_go() {
  if (nudge_timer_ != 0) killTimer(nudge_timer_);
  nudge_timer_ = 0;
  if (!picked_ || !held_at_) return;
  const Vec2 at = *held_at_;
  const Handle handle = *picked_;
  // Where it was let go of stays shown until the numbers have followed.
  for (PointMark& mark : content_.overlay.points) {
    if (mark.handle == handle) mark.at = at;
  }
  held_at_.reset();
  told_.moved(handle, at);
}

bool FilmCanvas::pick_on_this() {
  const auto& films = content_.films;
  if (!picked_ || films.empty()) return false;
  if (std::find(films.begin(), films.end(), picked_->film) != films.end()) return true;
  told_.picked(Handle{films.front(), picked_->grip});
  return picked_ && picked_->film == films.front();
}

void FilmCanvas::put_at(const Vec2& world) {
  if (!pick_on_this()) return;
  held_at_ = world;
  let_go();
}

void FilmCanvas::nudge(const Vec2& by_px) {
  if (!picked_) return;
  const auto at = place_of(*picked_);
  if (!at) return;
  held_at_ = *at + by_px / std::max(camera_.zoom, 1.0);
  if (nudge_timer_ != 0) killTimer(nudge_timer_);
  nudge_timer_ = startTimer(kNudgeMs);
  update();
}

void FilmCanvas::hurry(double budget_ms) {
  budget_ms_ = budget_ms;
  if (settle_timer_ != 0) killTimer(settle_timer_);
  if (settle_timer_ == 0) {
    coarse_ = 1;
    coarse_ += coarser_by(full_);
  }
  settle_timer_ = startTimer(kSettleMs);
}

int FilmCanvas::coarseness() const { return settle_timer_ == 0 ? 1 : coarse_; }

/// By how much coarser pixels must be than in a frame at `coarse_` that took so long. Only the
/// films' share goes with the number of pixels.
int FilmCanvas::coarser_by(const FrameTime& frame) const {
  if (frame.films_ms + frame.marks_ms <= budget_ms_) {
    const double finer = coarse_ > 1 ? static_cast<double>(coarse_) / (coarse_ - 1) : 1.0;
    const double then_ms = frame.films_ms * finer * finer + frame.marks_ms;
    return coarse_ > 1 && then_ms < 0.8 * budget_ms_ ? -1 : 0;
  }
  const double room_ms = std::max(budget_ms_ - frame.marks_ms, 0.25 * budget_ms_);
  const double too_slow = room_ms > 0.0 ? std::sqrt(frame.films_ms / room_ms) : kCoarsest;
  return std::min(static_cast<int>(std::ceil(coarse_ * too_slow)), kCoarsest) - coarse_;
}

void FilmCanvas::timerEvent(QTimerEvent* event) {
  if (event->timerId() == nudge_timer_) let_go();
  if (event->timerId() != settle_timer_) return;
  const bool coarse = coarseness() > 1;
  killTimer(settle_timer_);
  settle_timer_ = 0;
  if (coarse) update();
}

void FilmCanvas::mousePressEvent(QMouseEvent* event) {
  setFocus(Qt::MouseFocusReason);
  last_ = event->localPos();
  pressed_at_ = last_;
  drags_ = false;
  const bool window = event->button() == Qt::RightButton ||
                      (event->modifiers() & Qt::ShiftModifier) != Qt::NoModifier;
  if (window) {
    drag_ = Drag::kWindow;
  } else if (at_edge(last_)) {
    drag_ = Drag::kEdge;
  } else if (const auto handle = handle_at(last_)) {
    drag_ = Drag::kHandle;
    if (picked_ != handle) told_.picked(handle);
    grasp_ = vec(screen_from_world(*place_of(*handle))) - vec(last_);
  } else {
    drag_ = Drag::kPan;
  }
}

void FilmCanvas::mouseMoveEvent(QMouseEvent* event) {
  const QPointF now = event->localPos();
  const Vec2 by = vec(now) - vec(last_);
  switch (drag_) {
    case Drag::kNone:
      setCursor(at_edge(now)     ? Qt::SplitHCursor
                : handle_at(now) ? Qt::PointingHandCursor
                                 : Qt::ArrowCursor);
      break;
    case Drag::kPan:
      told_.camera({camera_.centre - by / camera_.zoom, camera_.zoom});
      break;
    case Drag::kWindow: {
      const double width = std::clamp(window_.width * std::exp(by.x() / 250.0), 0.02, 4.0);
      told_.window({std::clamp(window_.level + by.y() / 500.0, -0.5, 1.5), width});
      break;
    }
    case Drag::kHandle: {
      // Who clicks on a point picks it: that is no correction.
      drags_ = drags_ || (now - pressed_at_).manhattanLength() >= QApplication::startDragDistance();
      if (!drags_) break;
      const Vec2 at = vec(now) + grasp_;
      held_at_ = world_from_screen({at.x(), at.y()});
      update();
      break;
    }
    case Drag::kEdge:
      told_.share(std::clamp(now.x() / std::max(1, width()), 0.0, 1.0));
      break;
  }
  last_ = now;
}

void FilmCanvas::mouseReleaseEvent(QMouseEvent*) {
  const bool held = drag_ == Drag::kHandle;
  drag_ = Drag::kNone;
  if (held) let_go();
}

void FilmCanvas::mouseDoubleClickEvent(QMouseEvent* event) {
  if (!picked_ || event->button() != Qt::LeftButton) return;
  drag_ = Drag::kNone;
  put_at(world_from_screen(event->localPos()));
}

void FilmCanvas::wheelEvent(QWheelEvent* event) {
  const double turns = event->angleDelta().y() / 120.0;
  const double zoom = std::clamp(camera_.zoom * std::pow(kWheelStep, turns), 0.02, 40.0);
  const Vec2 under = world_from_screen(event->position());
  const Vec2 from_middle = vec(event->position()) - 0.5 * Vec2(width(), height());
  told_.camera({under - from_middle / zoom, zoom});
  event->accept();
}

void FilmCanvas::keyPressEvent(QKeyEvent* event) {
  const bool fast = (event->modifiers() & Qt::ShiftModifier) != Qt::NoModifier;
  Vec2 way = Vec2::Zero();
  if (event->key() == Qt::Key_Left) way.x() = -1.0;
  if (event->key() == Qt::Key_Right) way.x() = 1.0;
  if (event->key() == Qt::Key_Up) way.y() = -1.0;
  if (event->key() == Qt::Key_Down) way.y() = 1.0;
  const bool enter = event->key() == Qt::Key_Return || event->key() == Qt::Key_Enter;
  if (enter && picked_) {
    put_at(camera_.centre);  // the middle of the view: by keys alone, also what was not found
  } else if (way.isZero()) {
    QWidget::keyPressEvent(event);
  } else if (picked_ && place_of(*picked_)) {
    nudge((fast ? 10.0 : 1.0) * way);
  } else {
    told_.camera({camera_.centre + (fast ? 200.0 : 40.0) / camera_.zoom * way, camera_.zoom});
  }
}

void FilmCanvas::focusInEvent(QFocusEvent* event) {
  QWidget::focusInEvent(event);
  told_.entered();
  update();
}

void FilmCanvas::focusOutEvent(QFocusEvent* event) {
  QWidget::focusOutEvent(event);
  update();
}

void FilmCanvas::paint_films(QPainter& painter) {
  const int coarse = coarseness();
  const double ratio = devicePixelRatioF() / coarse;
  const int columns = std::max(1, static_cast<int>(std::ceil(width() * ratio)));
  const int rows = std::max(1, static_cast<int>(std::ceil(height() * ratio)));
  // Pixels of the device, whose centres lie half a pixel in.
  const double step = 1.0 / (ratio * camera_.zoom);
  Affine2 world_from_device;
  world_from_device.linear *= step;
  world_from_device.offset =
      camera_.centre - 0.5 * Vec2(width(), height()) / camera_.zoom + Vec2::Constant(0.5 * step);
  Scene scene{content_.first, content_.second, content_.mix, share_, window_};
  scene.first.film_from_screen = content_.first.film_from_screen.after(world_from_device);
  scene.second.film_from_screen = content_.second.film_from_screen.after(world_from_device);
  const auto pixels = drawn(scene, columns, rows);
  const QImage image(reinterpret_cast<const uchar*>(pixels.values.data()), columns, rows,
                     4 * columns, QImage::Format_RGB32);
  painter.drawImage(QRectF(0.0, 0.0, columns / ratio, rows / ratio), image);
}

void FilmCanvas::paint_point(QPainter& painter, const PointMark& mark) const {
  const bool picked = mark.handle && picked_ == mark.handle;
  const QPointF at = screen_from_world(picked && held_at_ ? *held_at_ : mark.at);
  const QColor ink = picked ? kPickedInk : ink_of(mark.whose);
  const QString name = QString::fromStdString(mark.name);
  if (!mark.handle) {
    draw_text(painter, at + QPointF(-4.0, 5.0), name, ink);
    return;
  }
  const double r = picked ? 8.0 : 5.0;
  QPainterPath path;
  if (mark.by_hand) {
    path.addRect(at.x() - r, at.y() - r, 2.0 * r, 2.0 * r);  // corrected: a square
  } else {
    path.addEllipse(at, r, r);
  }
  path.moveTo(at - QPointF(r + 4.0, 0.0));
  path.lineTo(at - QPointF(2.0, 0.0));
  path.moveTo(at + QPointF(2.0, 0.0));
  path.lineTo(at + QPointF(r + 4.0, 0.0));
  painter.strokePath(path, QPen(kEdgeInk, 3.5));
  painter.strokePath(path, QPen(ink, picked ? 2.0 : 1.5));
  if (name.isEmpty()) return;
  draw_text(painter, at + QPointF(r + 8.0, -4.0), mark.by_hand ? name + ", by hand" : name, ink);
}

void FilmCanvas::paint_marks(QPainter& painter) const {
  painter.setRenderHint(QPainter::Antialiasing);
  for (const LineMark& mark : content_.overlay.lines) {
    if (!shown_.contains(mark.layer)) continue;
    QPolygonF line;
    for (const Vec2& p : mark.points) line << screen_from_world(p);
    painter.setPen(QPen(kEdgeInk, 3.2));
    painter.drawPolyline(line);
    painter.setPen(pen_of(mark.layer, mark.whose));
    painter.drawPolyline(line);
  }
  for (const PointMark& mark : content_.overlay.points) {
    if (shown_.contains(mark.layer)) paint_point(painter, mark);
  }
}

void FilmCanvas::paint_words(QPainter& painter) const {
  QFont bold = font();
  bold.setBold(true);
  painter.setFont(bold);
  draw_text(painter, {10.0, 8.0 + QFontMetricsF(bold).ascent()}, content_.title, kWords);
  painter.setFont(font());
  if (!content_.empty.isEmpty()) {
    painter.setPen(kWords);
    painter.drawText(rect().adjusted(24, 24, -24, -24), Qt::AlignCenter | Qt::TextWordWrap,
                     content_.empty);
  }
}

void FilmCanvas::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  QElapsedTimer clock;
  const auto ms = [&clock] { return 1e-6 * static_cast<double>(clock.nsecsElapsed()); };
  FrameTime frame;
  clock.start();
  paint_films(painter);
  frame.films_ms = ms();
  paint_over(painter);
  frame.marks_ms = ms() - frame.films_ms;
  if (coarseness() == 1) full_ = frame;
  if (settle_timer_ != 0) coarse_ += coarser_by(frame);
}

void FilmCanvas::paint_over(QPainter& painter) const {
  paint_marks(painter);
  if (content_.mix == Mix::kEdge) {
    const double x = share_ * width();
    painter.setPen(QPen(kEdgeInk, 4.0));
    painter.drawLine(QPointF(x, 0.0), QPointF(x, height()));
    painter.setPen(QPen(kWords, 1.5));
    painter.drawLine(QPointF(x, 0.0), QPointF(x, height()));
  }
  paint_words(painter);
  if (!hasFocus()) return;
  painter.setRenderHint(QPainter::Antialiasing, false);
  painter.setPen(QPen(palette().highlight().color(), 3.0));
  painter.drawRect(rect().adjusted(1, 1, -2, -2));
}

}  // namespace tidemark::view
