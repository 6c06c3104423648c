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
#include <string>
#include <vector>

#include "chart.h"
#include "help_text.h"
#include "measurer.h"
#include "tidemark/view/review.h"
#include "zone_page.h"

namespace tidemark::view {

/// What is said of the hip, beside the films: finding, course, zones, seat, corrections.
class SidePanel : public QWidget {
 public:
  /// @param explain asks for help on what has the focus
  SidePanel(ZonePage::Told told, std::function<void()> explain, QWidget* parent);

  /// Shows what was measured; nothing: that nothing is measured yet.
  /// @param marks of readers on the chosen film
  void show_hip(const MeasuredHip* hip, std::optional<std::size_t> chosen,
                const std::vector<followup::ZoneMark>& marks);
  /// @param review null: none is open
  void show_steps(const Review* review);
  /// Says above all pages that numbers are behind the corrections; empty: they are not.
  void set_stale(const QString& why);
  /// What explains the number that the keys are on; absent: `focus` holds none of this panel.
  [[nodiscard]] std::optional<Help> help_at(const QWidget* focus, const HelpFrom& from,
                                            std::size_t chosen) const;
  [[nodiscard]] ZonePage* zones() const { return zones_; }
  [[nodiscard]] QTabWidget* tabs() const { return tabs_; }

 private:
  void show_nothing();
  void show_course(const report::Section* course);

  QTabWidget* tabs_;
  QTextBrowser* finding_;
  QTextBrowser* course_words_;
  Chart* subsidence_;
  Chart* tilt_;
  ZonePage* zones_;
  QTableWidget* seat_;
  QTextBrowser* seat_words_;
  QListWidget* steps_;
  QLabel* caution_;
  QLabel* stale_;
  std::string clicked_;  ///< the link that is being asked about
};

}  // namespace tidemark::view
