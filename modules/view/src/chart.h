#pragma once

#include <QWidget>

#include "tidemark/report/document.h"

namespace tidemark::view {

/// A drawing of the report on the screen, as wide as there is room. Takes the focus when it shows
/// something, so that it can be asked about.
class Chart : public QWidget {
 public:
  /// @param spoken for screen readers
  Chart(const QString& name, const QString& spoken, QWidget* parent);
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
