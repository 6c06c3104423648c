#include "chart.h"

#include <QFontMetricsF>
#include <QPainter>
#include <QPainterPath>
#include <algorithm>

#include "tidemark/report/palette.h"

namespace tidemark::view {
namespace {

using report::Ink;

QColor painted(Ink ink) { return QColor::fromRgb(report::colour_of(ink)); }

QPointF point_of(const Vec2& p) { return {p.x(), p.y()}; }

QPolygonF polygon_of(const Polyline& points) {
  QPolygonF out;
  for (const Vec2& p : points) out << point_of(p);
  return out;
}

struct Painter {
  QPainter& to;

  void operator()(const report::AreaMark& mark) const {
    to.setPen(Qt::NoPen);
    to.setBrush(painted(mark.ink));
    to.drawPolygon(polygon_of(mark.points));
  }

  void operator()(const report::LineMark& mark) const {
    QPen pen(painted(mark.stroke.ink), mark.stroke.width);
    if (!mark.stroke.dash.empty()) {
      QVector<qreal> dashes;
      for (const double length : mark.stroke.dash) dashes << length / mark.stroke.width;
      pen.setDashPattern(dashes);
    }
    to.setPen(pen);
    to.drawPolyline(polygon_of(mark.points));
  }

  void operator()(const report::PointMark& mark) const {
    const QPointF at = point_of(mark.at);
    const double r = mark.radius;
    const bool filled = mark.shape == report::Shape::kDisc || mark.shape == report::Shape::kSquare;
    to.setPen(QPen(painted(mark.ink), 1.8));
    to.setBrush(filled ? QBrush(painted(mark.ink)) : QBrush(painted(Ink::kPaper)));
    switch (mark.shape) {
      case report::Shape::kDisc:
      case report::Shape::kRing:
        to.drawEllipse(at, r, r);
        break;
      case report::Shape::kSquare:
        to.drawRect(QRectF(at.x() - r, at.y() - r, 2.0 * r, 2.0 * r));
        break;
      case report::Shape::kDiamond:
        to.drawPolygon(QPolygonF(
            {at + QPointF(0, -r), at + QPointF(r, 0), at + QPointF(0, r), at + QPointF(-r, 0)}));
        break;
      case report::Shape::kCross:
        to.drawLine(at + QPointF(-r, -r), at + QPointF(r, r));
        to.drawLine(at + QPointF(-r, r), at + QPointF(r, -r));
        break;
    }
  }

  void operator()(const report::TextMark& mark) const {
    QFont font = to.font();
    font.setPixelSize(std::max(1, static_cast<int>(mark.size)));
    font.setBold(mark.weight == report::Weight::kBold);
    to.setFont(font);
    to.setPen(painted(mark.ink));
    const QString text = QString::fromStdString(mark.text);
    const double width = QFontMetricsF(font).horizontalAdvance(text);
    const double shift = mark.anchor == report::Anchor::kStart    ? 0.0
                         : mark.anchor == report::Anchor::kMiddle ? 0.5 * width
                                                                  : width;
    to.drawText(point_of(mark.at) - QPointF(shift, 0.0), text);
  }
};

}  // namespace

Chart::Chart(const QString& name, const QString& spoken, QWidget* parent) : QWidget(parent) {
  setObjectName(name);
  setAccessibleName(spoken);
  QSizePolicy policy(QSizePolicy::Expanding, QSizePolicy::Preferred);
  policy.setHeightForWidth(true);
  setSizePolicy(policy);
}

void Chart::set_figure(const report::Figure& figure) {
  drawing_ = figure.drawing;
  setFocusPolicy(drawing_.width > 0.0 ? Qt::StrongFocus : Qt::NoFocus);
  setAccessibleDescription(QString::fromStdString(figure.description));
  setToolTip(QString::fromStdString(figure.description));
  updateGeometry();
  update();
}

QSize Chart::sizeHint() const { return {360, heightForWidth(360)}; }

int Chart::heightForWidth(int width) const {
  if (drawing_.width <= 0.0) return 0;
  return static_cast<int>(width * drawing_.height / drawing_.width);
}

void Chart::paintEvent(QPaintEvent*) {
  if (drawing_.width <= 0.0) return;
  QPainter painter(this);
  painter.setRenderHint(QPainter::Antialiasing);
  const double factor = std::min(width() / drawing_.width, height() / drawing_.height);
  painter.scale(factor, factor);
  painter.fillRect(QRectF(0.0, 0.0, drawing_.width, drawing_.height), painted(Ink::kPaper));
  for (const report::Mark& mark : drawing_.marks) std::visit(Painter{painter}, mark);
  if (!hasFocus()) return;
  painter.resetTransform();
  painter.setBrush(Qt::NoBrush);
  painter.setPen(QPen(palette().color(QPalette::Highlight), 2.0));
  painter.drawRect(rect().adjusted(1, 1, -2, -2));
}

}  // namespace tidemark::view
