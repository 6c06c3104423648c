#include "panel.h"

#include <QHeaderView>
#include <QUrl>
#include <QVBoxLayout>
#include <algorithm>
#include <utility>

#include "document_parts.h"
#include "finding_page.h"
#include "widgets.h"

namespace tidemark::view {
namespace {

using report::Section;

/// Another table in place of the one shown, its numbers in the second column; the keys stay on
/// their cell where it is still there.
void fill(QTableWidget* table, const report::Table* from) {
  const int row_before = table->currentRow();
  const int column_before = table->currentColumn();
  table->clear();
  table->setRowCount(0);
  table->setColumnCount(0);
  if (from == nullptr) return;
  table->setColumnCount(static_cast<int>(from->columns.size()));
  table->setRowCount(static_cast<int>(from->rows.size()));
  QStringList names;
  for (const std::string& name : from->columns) names << QString::fromStdString(name);
  table->setHorizontalHeaderLabels(names);
  for (int row = 0; row < table->rowCount(); ++row) {
    for (int column = 0; column < table->columnCount(); ++column) {
      const report::Cell& cell =
          from->rows[static_cast<std::size_t>(row)][static_cast<std::size_t>(column)];
      auto* item = new QTableWidgetItem(QString::fromStdString(cell.phrase.text));
      if (cell.role == report::CellRole::kStrong) {
        QFont bold = item->font();
        bold.setBold(true);
        item->setFont(bold);
      }
      item->setToolTip(item->text());
      table->setItem(row, column, item);
    }
  }
  table->horizontalHeader()->setSectionResizeMode(QHeaderView::Stretch);
  // Numbers are never cut: what is left out could be the uncertainty.
  table->horizontalHeader()->setSectionResizeMode(1, QHeaderView::ResizeToContents);
  table->verticalHeader()->setSectionResizeMode(QHeaderView::ResizeToContents);
  if (row_before >= 0 && row_before < table->rowCount()) {
    table->setCurrentCell(row_before, std::clamp(column_before, 0, table->columnCount() - 1));
  }
}

QWidget* page_of(QWidget* parent, std::initializer_list<std::pair<QWidget*, int>> parts) {
  auto* page = new QWidget(parent);
  auto* layout = new QVBoxLayout(page);
  layout->setContentsMargins(4, 4, 4, 4);
  for (const auto& [part, stretch] : parts) layout->addWidget(part, stretch);
  page->setFocusProxy(parts.begin()->first);  // whoever opens the page by a key is in it
  return page;
}

}  // namespace

SidePanel::SidePanel(ZonePage::Told told, std::function<void()> explain, QWidget* parent)
    : QWidget(parent),
      tabs_(new QTabWidget(this)),
      finding_(browser_in(this, "finding", "Finding")),
      course_words_(browser_in(this, "course-words", "Course over time, in words")),
      subsidence_(new Chart("course-subsidence", "Subsidence over time", this)),
      tilt_(new Chart("course-tilt", "Tilt over time", this)),
      zones_(new ZonePage(std::move(told), this)),
      seat_(table_in(this, "seat", "How the stem was seated")),
      seat_words_(browser_in(this, "seat-words", "What each measure is")),
      steps_(new QListWidget(this)),
      caution_(new QLabel(this)),
      stale_(new QLabel(this)) {
  tabs_->setObjectName("panel-tabs");
  tabs_->setDocumentMode(true);
  // Room for names of two lines.
  auto* heads = seat_->horizontalHeader();
  heads->setDefaultAlignment(Qt::AlignCenter | static_cast<Qt::Alignment>(Qt::TextWordWrap));
  heads->setMinimumHeight(2 * fontMetrics().lineSpacing() + 8);
  steps_->setObjectName("steps");
  steps_->setAccessibleName("Corrections, the latest last");
  tabs_->addTab(page_of(tabs_, {{finding_, 1}}), "&Finding");
  tabs_->addTab(page_of(tabs_, {{subsidence_, 2}, {tilt_, 2}, {course_words_, 1}}), "C&ourse");
  tabs_->addTab(zones_, "&Zones");
  tabs_->addTab(page_of(tabs_, {{seat_, 3}, {seat_words_, 1}}), "&Seat");
  tabs_->addTab(page_of(tabs_, {{steps_, 1}}), "&Edits");
  // Enter on a link, or a click on it, asks what F1 asks there.
  connect(finding_, &QTextBrowser::anchorClicked, this,
          [this, explain = std::move(explain)](const QUrl& link) {
            clicked_ = link.toString().toStdString();
            explain();
            clicked_.clear();
          });
  stale_->setObjectName("stale");
  stale_->setWordWrap(true);
  stale_->hide();
  caution_->setObjectName("caution");
  caution_->setWordWrap(true);
  caution_->setText(QString::fromLatin1(followup::kCaution));
  auto* layout = new QVBoxLayout(this);
  layout->setContentsMargins(0, 0, 0, 0);
  layout->addWidget(stale_);
  layout->addWidget(tabs_, 1);
  layout->addWidget(caution_);
}

void SidePanel::set_stale(const QString& why) {
  stale_->setText(why);
  stale_->setVisible(!why.isEmpty());
}

/// Of every page: what is left of a hip would be taken for what is said of the next one.
void SidePanel::show_nothing() {
  show_page(finding_, "<p>Nothing is measured yet.</p>");
  show_course(nullptr);
  zones_->show_nothing();
  fill(seat_, nullptr);
  show_page(seat_words_, "");
}

void SidePanel::show_hip(const MeasuredHip* hip, std::optional<std::size_t> chosen,
                         const std::vector<followup::ZoneMark>& marks) {
  if (hip == nullptr) {
    show_nothing();
    return;
  }
  show_page(finding_, finding_html(hip->result, hip->document, chosen));
  show_course(section_of(hip->document, "course"));
  if (chosen && *chosen < hip->result.films.size()) {
    zones_->show_film(hip->result, *chosen, marks, words_of(section_of(hip->document, "zones")));
  } else {
    zones_->show_nothing();
  }
  const Section* seat = section_of(hip->document, "seat");
  fill(seat_, first_of<report::Table>(seat));
  show_page(seat_words_, words_of(seat));
}

void SidePanel::show_course(const Section* course) {
  const auto* figures = first_of<report::Figures>(course);
  const std::size_t n = figures == nullptr ? 0 : figures->figures.size();
  subsidence_->set_figure(n > 0 ? figures->figures[0] : report::Figure{});
  tilt_->set_figure(n > 1 ? figures->figures[1] : report::Figure{});
  show_page(course_words_, words_of(course));
}

std::optional<Help> SidePanel::help_at(const QWidget* focus, const HelpFrom& from,
                                       std::size_t chosen) const {
  if (focus == nullptr) return {};
  if (focus == finding_) {
    const std::string link = clicked_.empty() ? link_at(finding_).toStdString() : clicked_;
    return link.empty() ? help_of_headline(from) : help_of_link(from, link);
  }
  if (focus == subsidence_ || focus == course_words_) {
    return help_of(from, CourseChart::kSubsidence);
  }
  if (focus == tilt_) return help_of(from, CourseChart::kTilt);
  if (focus == zones_ || zones_->isAncestorOf(focus)) return zones_->help_at(focus, from, chosen);
  const bool seat = focus == seat_ || focus == seat_words_;
  if (seat && from.result.seat && seat_->rowCount() > 0) {
    return help_of_seat(from, static_cast<std::size_t>(std::max(0, seat_->currentRow())));
  }
  if (focus == steps_) return help_of_edits();
  return {};
}

void SidePanel::show_steps(const Review* review) {
  steps_->clear();
  if (review == nullptr) return;
  for (std::size_t i = 0; i < review->steps().size(); ++i) {
    const QString text = QString::fromStdString(review->steps()[i].told);
    auto* item = new QListWidgetItem(i < review->done() ? text : text + " (undone)", steps_);
    if (i >= review->done())
      item->setForeground(palette().brush(QPalette::Disabled, QPalette::Text));
  }
}

}  // namespace tidemark::view
