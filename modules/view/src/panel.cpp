#include "panel.h"

#include <QHeaderView>
#include <QVBoxLayout>
#include <algorithm>
#include <utility>

#include "tidemark/assessment/judge.h"
#include "tidemark/core/date.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"

namespace tidemark::view {
namespace {

using report::Document;
using report::Section;

QString escaped(const std::string& text) { return QString::fromStdString(text).toHtmlEscaped(); }

const Section* section_of(const Document& document, const std::string& id) {
  const auto found = std::find_if(document.sections.begin(), document.sections.end(),
                                  [&](const Section& section) { return section.id == id; });
  return found == document.sections.end() ? nullptr : &*found;
}

template <class Block>
const Block* first_of(const Section* section) {
  if (section == nullptr) return nullptr;
  for (const report::Block& block : section->blocks) {
    if (const auto* one = std::get_if<Block>(&block)) return one;
  }
  return nullptr;
}

/// The paragraphs and lists of a section.
QString words_of(const Section* section) {
  QString out;
  if (section == nullptr) return out;
  for (const report::Block& block : section->blocks) {
    if (const auto* paragraph = std::get_if<report::Paragraph>(&block)) {
      const QString text = escaped(paragraph->phrase.text);
      out += paragraph->tone == report::Tone::kDoubt ? "<p><b>" + text + "</b></p>"
                                                     : "<p>" + text + "</p>";
    } else if (const auto* items = std::get_if<report::Items>(&block)) {
      out += "<ul>";
      for (const report::Item& item : items->items) {
        const QString about = item.about.empty() ? "" : "<b>" + escaped(item.about) + ".</b> ";
        out += "<li>" + about + escaped(item.phrase.text) + "</li>";
      }
      out += "</ul>";
    }
  }
  return out;
}

QTableWidget* table_in(QWidget* parent, const QString& name, const QString& spoken) {
  auto* table = new QTableWidget(parent);
  table->setObjectName(name);
  table->setAccessibleName(spoken);
  table->setEditTriggers(QAbstractItemView::NoEditTriggers);
  table->setSelectionBehavior(QAbstractItemView::SelectRows);
  table->setSelectionMode(QAbstractItemView::SingleSelection);
  table->setWordWrap(true);
  table->setTabKeyNavigation(false);
  table->verticalHeader()->hide();
  return table;
}

void fill(QTableWidget* table, const report::Table* from) {
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
  table->verticalHeader()->setSectionResizeMode(QHeaderView::ResizeToContents);
}

QTextBrowser* browser_in(QWidget* parent, const QString& name, const QString& spoken) {
  auto* browser = new QTextBrowser(parent);
  browser->setObjectName(name);
  browser->setAccessibleName(spoken);
  browser->setOpenLinks(false);
  browser->setFrameShape(QFrame::NoFrame);
  return browser;
}

QString row_of(const char* name, double value, double u95, const QString& unit) {
  return QString("<tr><td>%1&nbsp;&nbsp;</td><td align=\"right\"><b>%2</b> %3</td></tr>")
      .arg(name, QString::fromStdString(with_uncertainty(value, u95)), unit);
}

QString verdict_word(assessment::Verdict verdict) {
  switch (verdict) {
    case assessment::Verdict::kExceeds:
      return "above the limit";
    case assessment::Verdict::kWithin:
      return "within";
    case assessment::Verdict::kCannotTell:
      return "cannot tell";
    case assessment::Verdict::kNotApplicable:
      break;
  }
  return "does not apply";
}

/// The numbers and verdicts of one comparison.
QString numbers_of(const followup::Result& result, std::size_t index) {
  const followup::ComparisonResult& pair = result.comparisons[index];
  const followup::FilmResult& film = result.films[pair.follow_up];
  QString out = "<h4>Chosen film: " + escaped(printable(film.file));
  if (film.date) out += ", " + escaped(format_date(*film.date));
  if (pair.days) out += QString(", day %1").arg(*pair.days);
  out += "</h4>";
  if (!pair.migration) return out + "<p>Not measured: " + escaped(printable(pair.reason)) + "</p>";
  const followup::Lengths lengths = followup::lengths_of(result);
  const QString unit = QString::fromStdString(lengths.unit);
  const auto& m = *pair.migration;
  out += "<table>";
  out += row_of("Subsidence (distal +)", m.subsidence.value.value / lengths.mm_per_unit,
                m.subsidence.u95.value / lengths.mm_per_unit, unit);
  out += row_of("Medial shift", m.medial.value.value / lengths.mm_per_unit,
                m.medial.u95.value / lengths.mm_per_unit, unit);
  out +=
      row_of("Change of tilt (varus +)", m.tilt_change.value.value, m.tilt_change.u95.value, "°");
  out += "</table>";
  if (!result.assessment) return out;
  QString verdicts;
  for (const assessment::Finding& finding : result.assessment->findings) {
    if (finding.comparison != index || finding.verdict == assessment::Verdict::kNotApplicable) {
      continue;
    }
    verdicts += "<li><b>" + escaped(printable(finding.criterion)) + ": " +
                verdict_word(finding.verdict) + ".</b> " + escaped(printable(finding.text)) +
                "</li>";
  }
  if (!verdicts.isEmpty()) out += "<ul>" + verdicts + "</ul>";
  return out;
}

QString headline_of(const report::Headline& headline) {
  const bool look = headline.finding == report::Finding::kLook;
  const bool calm = headline.finding == report::Finding::kCalm;
  const QString sign = look ? "◆" : calm ? "●" : "○";
  const QString word = look ? "Look closer" : calm ? "Within limits" : "Cannot tell";
  QString out = "<p style=\"font-size:large\"><b>" + sign + " " + word + "</b></p>";
  out += "<p>" + escaped(headline.sentence.text) + "</p>";
  if (headline.measured) out += "<p>" + escaped(headline.measured->text) + "</p>";
  if (headline.doubts.empty()) return out;
  out += "<p><b>What stands against it</b></p><ul>";
  for (const report::Phrase& doubt : headline.doubts) out += "<li>" + escaped(doubt.text) + "</li>";
  return out + "</ul>";
}

QWidget* page_of(QWidget* parent, std::initializer_list<std::pair<QWidget*, int>> parts) {
  auto* page = new QWidget(parent);
  auto* layout = new QVBoxLayout(page);
  layout->setContentsMargins(4, 4, 4, 4);
  for (const auto& [part, stretch] : parts) layout->addWidget(part, stretch);
  return page;
}

}  // namespace

SidePanel::SidePanel(ZonePage::Told told, QWidget* parent)
    : QWidget(parent),
      tabs_(new QTabWidget(this)),
      finding_(browser_in(this, "finding", "Finding")),
      course_words_(browser_in(this, "course-words", "Course over time, in words")),
      subsidence_(new Chart("course-subsidence", this)),
      tilt_(new Chart("course-tilt", this)),
      zones_(new ZonePage(std::move(told), this)),
      seat_(table_in(this, "seat", "How the stem was seated")),
      seat_words_(browser_in(this, "seat-words", "What each measure is")),
      steps_(new QListWidget(this)),
      caution_(new QLabel(this)),
      stale_(new QLabel(this)) {
  tabs_->setObjectName("panel-tabs");
  tabs_->setDocumentMode(true);
  steps_->setObjectName("steps");
  steps_->setAccessibleName("Corrections, the latest last");
  tabs_->addTab(page_of(tabs_, {{finding_, 1}}), "&Finding");
  tabs_->addTab(page_of(tabs_, {{subsidence_, 2}, {tilt_, 2}, {course_words_, 1}}), "&Course");
  tabs_->addTab(zones_, "&Zones");
  tabs_->addTab(page_of(tabs_, {{seat_, 3}, {seat_words_, 1}}), "&Seat");
  tabs_->addTab(page_of(tabs_, {{steps_, 1}}), "&Edits");
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
  tabs_->setEnabled(true);
}

void SidePanel::show_hip(const MeasuredHip* hip, std::optional<std::size_t> chosen,
                         const std::vector<followup::ZoneMark>& marks) {
  if (hip == nullptr) {
    finding_->setHtml("<p>Nothing is measured yet.</p>");
    zones_->show_nothing();
    fill(seat_, nullptr);
    return;
  }
  show_finding(*hip, chosen);
  show_course(hip->document);
  if (chosen && *chosen < hip->result.films.size()) {
    zones_->show_film(hip->result, *chosen, marks, words_of(section_of(hip->document, "zones")));
  } else {
    zones_->show_nothing();
  }
  const Section* seat = section_of(hip->document, "seat");
  fill(seat_, first_of<report::Table>(seat));
  seat_words_->setHtml(words_of(seat));
}

void SidePanel::show_finding(const MeasuredHip& hip, std::optional<std::size_t> chosen) {
  QString html = headline_of(hip.document.headline);
  for (std::size_t i = 0; i < hip.result.comparisons.size(); ++i) {
    if (hip.result.comparisons[i].follow_up == chosen) html += numbers_of(hip.result, i);
  }
  for (const auto& film : hip.result.films) {
    if (film.status == followup::Status::kNotMeasured && !film.excluded) {
      html += "<p><b>" + escaped(printable(film.file)) + " is not measured:</b> " +
              escaped(printable(film.reason)) + "</p>";
    }
  }
  html += words_of(section_of(hip.document, "cautions"));
  finding_->setHtml(html);
}

void SidePanel::show_course(const Document& document) {
  const Section* course = section_of(document, "course");
  const auto* figures = first_of<report::Figures>(course);
  const std::size_t n = figures == nullptr ? 0 : figures->figures.size();
  subsidence_->set_figure(n > 0 ? figures->figures[0] : report::Figure{});
  tilt_->set_figure(n > 1 ? figures->figures[1] : report::Figure{});
  course_words_->setHtml(words_of(course));
}

void SidePanel::show_steps(const Review& review) {
  steps_->clear();
  for (std::size_t i = 0; i < review.steps().size(); ++i) {
    const QString text = QString::fromStdString(review.steps()[i].told);
    auto* item = new QListWidgetItem(i < review.done() ? text : text + " (undone)", steps_);
    if (i >= review.done())
      item->setForeground(palette().brush(QPalette::Disabled, QPalette::Text));
  }
}

}  // namespace tidemark::view
