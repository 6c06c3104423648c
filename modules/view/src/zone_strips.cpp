#include "zone_strips.h"

#include <QKeyEvent>
#include <QMouseEvent>
#include <QPainter>
#include <algorithm>
#include <cmath>
#include <utility>

namespace tidemark::view {
namespace {

constexpr int kHead = 40;   ///< px above the strips, for numbers and states
constexpr int kTitle = 18;  ///< px above each strip
constexpr int kGap = 12;    ///< below each strip, for what is said of each place

QImage image_of(const followup::UnrolledStrip& strip) {
  const QImage view(strip.grey.values.data(), strip.grey.width, strip.grey.height, strip.grey.width,
                    QImage::Format_Grayscale8);
  return view.copy();
}

/// What is said of each place, below the pixels: a bar where a line is, dots where it cannot be
/// told, nothing where none is.
void paint_lane(QPainter& painter, const followup::UnrolledStrip& strip, int top) {
  for (std::size_t i = 0; i < strip.state.size(); ++i) {
    const int x = static_cast<int>(i);
    if (strip.state[i] == lucency::State::kPresent) painter.drawLine(x, top + 1, x, top + 6);
    if (strip.state[i] == lucency::State::kCannotTell && x % 6 < 2) painter.drawPoint(x, top + 4);
  }
}

}  // namespace

ZoneStrips::ZoneStrips(Chosen chosen, QWidget* parent)
    : QWidget(parent), chosen_(std::move(chosen)) {
  setObjectName("zone-strips");
  setFocusPolicy(Qt::StrongFocus);
  setAccessibleName("The stem's interface unrolled by zone, the past over the present");
}

void ZoneStrips::show_film(const followup::UnrolledFilm* unrolled, std::vector<QString> titles,
                           std::map<int, QString> heads) {
  unrolled_ = unrolled == nullptr ? std::nullopt : std::optional(*unrolled);
  titles_ = std::move(titles);
  heads_ = std::move(heads);
  images_.clear();
  if (unrolled_) {
    for (const auto& strip : unrolled_->strips) images_.push_back(image_of(strip));
  }
  setFixedSize(sizeHint());
  update();
}

void ZoneStrips::set_zone(int zone) {
  zone_ = zone;
  update();
}

QSize ZoneStrips::sizeHint() const {
  if (images_.empty()) return {200, kHead};
  const int strips = static_cast<int>(images_.size());
  return {images_.front().width(), kHead + strips * (kTitle + images_.front().height() + kGap)};
}

QRect ZoneStrips::rect_of(int zone) const {
  if (!unrolled_) return {};
  for (const auto& one : unrolled_->zones) {
    if (one.number != zone) continue;
    const int from = static_cast<int>(std::floor(one.from));
    return {from, 0, std::max(1, static_cast<int>(std::ceil(one.to)) - from), height()};
  }
  return {};
}

void ZoneStrips::paintEvent(QPaintEvent* /*event*/) {
  QPainter painter(this);
  painter.fillRect(rect(), palette().color(QPalette::Base));
  if (!unrolled_) {
    painter.drawText(rect(), Qt::AlignCenter, "No lines were looked for on this film.");
    return;
  }
  int y = kHead;
  for (std::size_t i = 0; i < images_.size(); ++i) {
    painter.drawImage(QPoint(0, y + kTitle), images_[i]);
    paint_lane(painter, unrolled_->strips[i], y + kTitle + images_[i].height());
    y += kTitle + images_[i].height() + kGap;
  }
  for (const auto& one : unrolled_->zones) {
    const QRect span = rect_of(one.number);
    painter.setPen(QPen(palette().color(QPalette::Text), 1.0, Qt::DotLine));
    painter.drawLine(span.left(), kHead, span.left(), height());
    painter.drawLine(span.right(), kHead, span.right(), height());
    const auto head = heads_.find(one.number);
    painter.setPen(palette().color(QPalette::Text));
    painter.drawText(QRect(span.left(), 0, span.width(), kHead), Qt::AlignCenter | Qt::TextWordWrap,
                     head == heads_.end() ? QString::number(one.number) : head->second);
    if (one.number == zone_) {
      painter.setPen(QPen(palette().color(QPalette::Highlight), 3.0));
      painter.drawRect(span.adjusted(1, 1, -2, -2));
    }
  }
  paint_titles(painter);
  if (hasFocus()) {
    painter.setPen(QPen(palette().color(QPalette::Highlight), 1.0, Qt::DashLine));
    painter.drawRect(rect().adjusted(0, 0, -1, -1));
  }
}

/// What each strip is, where it is seen however far the strips are scrolled, and over the borders.
void ZoneStrips::paint_titles(QPainter& painter) const {
  const int left = visibleRegion().boundingRect().left() + 2;
  painter.setPen(palette().color(QPalette::Text));
  for (std::size_t i = 0; i < std::min(titles_.size(), images_.size()); ++i) {
    const int y = kHead + static_cast<int>(i) * (kTitle + images_.front().height() + kGap);
    const QRect place(left, y, painter.fontMetrics().horizontalAdvance(titles_[i]) + 4, kTitle);
    painter.fillRect(place, palette().color(QPalette::Base));
    painter.drawText(place, Qt::AlignCenter, titles_[i]);
  }
}

ZoneStrips::Place ZoneStrips::place_at(int x) const {
  Place out;
  if (!unrolled_ || unrolled_->zones.empty()) return out;
  const auto away = [x](const auto& zone) { return std::max({0.0, zone.from - x, x - zone.to}); };
  out.zone =
      std::min_element(unrolled_->zones.begin(), unrolled_->zones.end(), [&](auto& a, auto& b) {
        return away(a) < away(b);
      })->number;
  const auto on = [x](const followup::UnrolledStrip& strip) -> std::optional<OnFilm> {
    const auto column = static_cast<std::size_t>(std::max(0, x));
    if (column >= strip.edge_px.size() || !strip.edge_px[column]) return {};
    return OnFilm{strip.film, *strip.edge_px[column]};
  };
  if (unrolled_->strips.size() > 1) out.past = on(unrolled_->strips.front());
  out.present = on(unrolled_->strips.back());
  return out;
}

void ZoneStrips::mousePressEvent(QMouseEvent* event) {
  const Place place = place_at(event->pos().x());
  if (place.zone == 0) return;
  set_zone(place.zone);
  chosen_(place);
}

ZoneStrips::Place ZoneStrips::middle_of(int zone) const {
  const QRect span = rect_of(zone);
  Place out = span.isEmpty() ? Place{} : place_at(span.center().x());
  out.zone = zone;
  return out;
}

void ZoneStrips::choose(int zone) {
  set_zone(zone);
  chosen_(middle_of(zone));
}

void ZoneStrips::keyPressEvent(QKeyEvent* event) {
  const int step = event->key() == Qt::Key_Right ? 1 : event->key() == Qt::Key_Left ? -1 : 0;
  if (step == 0 || !unrolled_ || unrolled_->zones.empty()) {
    QWidget::keyPressEvent(event);
    return;
  }
  const auto& zones = unrolled_->zones;
  const auto now = std::find_if(zones.begin(), zones.end(),
                                [this](const auto& zone) { return zone.number == zone_; });
  const auto n = static_cast<std::ptrdiff_t>(zones.size());
  const std::ptrdiff_t at = now == zones.end() ? (step > 0 ? -1 : n) : now - zones.begin();
  choose(zones[static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(at + step, 0, n - 1))].number);
}

}  // namespace tidemark::view
