#pragma once

#include <QWidget>

#include "tidemark/report/document.h"

namespace tidemark::view {

/// A drawing of the report on the screen, as wide as there is room.
class Chart : public QWidget {
 public:
  Chart(const QString& name, QWidget* parent);
  void set_figure(const report::Figure& figure);
  [[nodiscard]] QSize sizeHint() const override;
  [[nodiscard]] bool hasHeightForWidth() const override { return true; }
  [[nodiscard]] int heightForWidth(int width) const override;

 protected:
  void paintEvent(QPaintEvent* event) override;

 private:
  report::Drawing drawing_;
};

}  // namespace tidemark::view
