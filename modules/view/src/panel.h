#pragma once

#include <QLabel>
#include <QListWidget>
#include <QTabWidget>
#include <QTableWidget>
#include <QTextBrowser>
#include <QWidget>
#include <cstddef>
#include <functional>
#include <optional>

#include "chart.h"
#include "measurer.h"
#include "tidemark/view/review.h"

namespace tidemark::view {

/// What is said of the hip, beside the films: finding, course, zones, seat, corrections.
class SidePanel : public QWidget {
 public:
  /// @param go_to_zone called with the number of a zone that was chosen in the table
  SidePanel(std::function<void(int)> go_to_zone, QWidget* parent);

  /// Shows what was measured; nothing: that nothing is measured yet.
  void show_hip(const MeasuredHip* hip, std::optional<std::size_t> chosen);
  void show_steps(const Review& review);
  /// Greyed while the numbers are behind the corrections.
  void set_stale(const QString& why);
  [[nodiscard]] QTabWidget* tabs() const { return tabs_; }

 private:
  void show_finding(const MeasuredHip& hip, std::optional<std::size_t> chosen);
  void show_course(const report::Document& document);

  std::function<void(int)> go_to_zone_;
  QTabWidget* tabs_;
  QTextBrowser* finding_;
  QTextBrowser* course_words_;
  Chart* subsidence_;
  Chart* tilt_;
  QTableWidget* zones_;
  QTextBrowser* zones_words_;
  QTableWidget* seat_;
  QTextBrowser* seat_words_;
  QListWidget* steps_;
  QLabel* caution_;
  QLabel* stale_;
};

}  // namespace tidemark::view
