#include "zone_page.h"

#include <QHBoxLayout>
#include <QHeaderView>
#include <QPushButton>
#include <QScrollArea>
#include <QScrollBar>
#include <QSignalBlocker>
#include <QVBoxLayout>
#include <algorithm>
#include <utility>

#include "tidemark/core/date.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/text.h"
#include "tidemark/lucency/codes.h"
#include "widgets.h"
#include "words.h"
#include "zone_state.h"

namespace tidemark::view {
namespace {

using followup::FilmResult;
using followup::Opinion;
using followup::Result;
using followup::ZoneMark;
using followup::ZoneResult;
using lucency::State;

constexpr int kWordLines = 5;  ///< what to know of the lines is seen without scrolling
constexpr int kStripsHeight = 296;

QString text_of(const std::string& text) { return QString::fromStdString(text); }

QString length_text(const std::optional<Measured<Millimetres>>& m, const followup::Lengths& unit) {
  if (!m) return {};
  std::string text =
      with_uncertainty(m->value.value / unit.mm_per_unit, m->u95.value / unit.mm_per_unit);
  if (text.front() == '+') text.erase(0, 1);
  return QString::fromStdString(text + " " + unit.unit);
}

/// What is said of the place since the reference film.
QString since(std::span<const lucency::ZoneChange> changes, const ZoneResult& zone,
              const followup::Lengths& unit) {
  const auto* found = lucency::change_at(changes, zone.zone, zone.interface);
  if (found == nullptr) return {};
  const QString grew = text_of(growth_of(found->progressive));
  return found->change ? grew + ", " + length_text(found->change, unit) : grew;
}

QString marks_text(const std::vector<ZoneMark>& marks, const ZoneResult& zone) {
  QStringList out;
  for (const ZoneMark& mark : marks) {
    if (mark.zone != zone.zone || mark.interface != zone.interface) continue;
    QString text = text_of(printable(mark.reader) + " " + words_of(mark.opinion));
    if (mark.program != zone.state) {
      text += " (the program said: " + text_of(words_of(mark.program)) + ")";
    }
    out << text;
  }
  return out.join("; ");
}

QString title_of(const Result& result, std::size_t film, const char* role) {
  QString out = QString(role) + "  " + QString::fromStdString(printable(result.films[film].file));
  const auto& date = result.films[film].date;
  return date ? out + "  " + QString::fromStdString(format_date(*date)) : out;
}

std::map<int, QString> heads_of(const FilmResult& film) {
  std::map<int, QString> out;
  for (const ZoneResult& zone : film.zones) {
    const State state = speaking_for(film, zone.zone)->state;  // the table has all interfaces
    out[zone.zone] = QString::number(zone.zone) + "\n" + text_of(words_of(state));
  }
  return out;
}

}  // namespace

ZonePage::ZonePage(Told told, QWidget* parent)
    : QWidget(parent),
      told_(std::move(told)),
      scroll_(new QScrollArea(this)),
      strips_(new ZoneStrips([this](const auto& place) { zone_chosen(place); }, scroll_)),
      table_(table_in(this, "zones", "Radiolucent lines by zone")),
      buttons_(make_buttons()),
      words_(browser_in(this, "zones-words", "What to know of the lines")) {
  scroll_->setObjectName("zone-strips-area");
  scroll_->setWidget(strips_);
  scroll_->setFixedHeight(kStripsHeight);
  scroll_->setFocusPolicy(Qt::NoFocus);
  // What each strip is stands where it is seen, so it is drawn anew when that moves.
  connect(scroll_->horizontalScrollBar(), &QScrollBar::valueChanged, strips_,
          [this] { strips_->update(); });
  words_->setMinimumHeight(kWordLines * words_->fontMetrics().lineSpacing());
  setFocusProxy(strips_);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(4, 4, 4, 4);
  column->addWidget(scroll_);
  column->addWidget(table_, 3);
  column->addWidget(buttons_);
  column->addWidget(words_, 1);
  connect(table_, &QTableWidget::currentCellChanged, this, [this](int row, int, int before, int) {
    if (row != before) row_chosen(row);
  });
}

QWidget* ZonePage::make_buttons() {
  auto* out = new QWidget(this);
  auto* row = new QHBoxLayout(out);
  row->setContentsMargins(0, 0, 0, 0);
  const std::vector<std::pair<QString, std::optional<Opinion>>> all{
      {"&Agree", Opinion::kAgree},
      {"&Disagree", Opinion::kDisagree},
      {"Cannot &tell", Opinion::kCannotTell},
      {"No mar&k", std::nullopt}};
  for (const auto& [text, opinion] : all) {
    auto* button = new QPushButton(text, out);
    button->setToolTip("What you hold of the program's answer in the chosen zone");
    connect(button, &QPushButton::clicked, this, [this, what = opinion] { mark(what); });
    row->addWidget(button);
  }
  return out;
}

void ZonePage::show_nothing() {
  rows_.clear();
  table_->setRowCount(0);
  strips_->show_film(nullptr, {}, {});
  words_->clear();
  buttons_->setEnabled(false);
}

void ZonePage::show_film(const Result& result, std::size_t film, const std::vector<ZoneMark>& marks,
                         const QString& words) {
  const FilmResult& shown = result.films[film];
  const auto compared = followup::lines_since(result, film);
  const auto* unrolled = unrolled_of(result, film);
  std::vector<QString> titles;
  if (unrolled != nullptr && unrolled->strips.size() > 1) {
    titles.push_back(title_of(result, unrolled->strips.front().film, "Past:"));
  }
  titles.push_back(title_of(result, film, "Present:"));
  strips_->show_film(unrolled, titles, heads_of(shown));
  fill(result, shown, compared ? compared->zones : std::span<const lucency::ZoneChange>(), marks);
  show_page(words_, words);
  buttons_->setEnabled(!rows_.empty());
}

void ZonePage::fill(const Result& result, const FilmResult& film,
                    std::span<const lucency::ZoneChange> changes,
                    const std::vector<ZoneMark>& marks) {
  const auto before = chosen();
  const int column_before = std::max(0, table_->currentColumn());
  const QSignalBlocker quiet(table_);
  const auto unit = followup::lengths_of(result, film);
  table_->setColumnCount(5);
  table_->setHorizontalHeaderLabels({"Zone", "Program", "Readers", "Widest", "Since"});
  table_->setRowCount(static_cast<int>(film.zones.size()));
  rows_.clear();
  const bool cemented = std::any_of(film.zones.begin(), film.zones.end(), [](const auto& zone) {
    return zone.interface != lucency::Interface::kStemBone;
  });
  for (const ZoneResult& zone : film.zones) {
    const int row = static_cast<int>(rows_.size());
    QString name = QString::number(zone.zone);
    if (cemented) name += ", " + QString::fromStdString(lucency::words_of(zone.interface));
    const QStringList cells{name, text_of(words_of(zone.state)), marks_text(marks, zone),
                            length_text(zone.max, unit), since(changes, zone, unit)};
    for (int column = 0; column < cells.size(); ++column) {
      auto* item = new QTableWidgetItem(cells[column]);
      item->setToolTip(zone.reason.empty()
                           ? cells[column]
                           : cells[column] + "\n" + QString::fromStdString(printable(zone.reason)));
      QFont font = item->font();
      font.setBold(column == 1 && zone.state == State::kPresent);
      item->setFont(font);
      table_->setItem(row, column, item);
    }
    rows_.push_back(
        {zone.zone, zone.interface, zone.state, speaking_for(film, zone.zone) == &zone});
    const bool same = before && before->zone == zone.zone && before->interface == zone.interface;
    if (same) table_->setCurrentCell(row, column_before);
  }
  table_->horizontalHeader()->setSectionResizeMode(QHeaderView::ResizeToContents);
  // Their sentences wrap: what a reader wrote may not push the last column out of sight.
  for (const int column : {2, 4}) {
    table_->horizontalHeader()->setSectionResizeMode(column, QHeaderView::Stretch);
  }
  table_->verticalHeader()->setSectionResizeMode(QHeaderView::ResizeToContents);
}

std::optional<ZonePlace> ZonePage::chosen() const {
  const auto row = static_cast<std::size_t>(std::max(0, table_->currentRow()));
  if (table_->currentRow() < 0 || row >= rows_.size()) return {};
  return rows_[row];
}

void ZonePage::mark(std::optional<Opinion> opinion) {
  if (const auto place = chosen()) told_.mark(*place, opinion);
}

std::optional<Help> ZonePage::help_at(const QWidget* focus, const HelpFrom& from,
                                      std::size_t film) const {
  if (film >= from.result.films.size()) return {};
  const auto row = static_cast<std::size_t>(std::max(0, table_->currentRow()));
  const bool known = row < from.result.films[film].zones.size();
  if (focus == table_ && known) {
    const int column = std::clamp(table_->currentColumn(), 0, table_->columnCount() - 1);
    return help_of_zone(from, film, row, static_cast<ZoneColumn>(column));
  }
  if (buttons_->isAncestorOf(focus) && known) {
    return help_of_zone(from, film, row, ZoneColumn::kReaders);
  }
  return help_of_strips(from, film);
}

void ZonePage::scroll_to(int zone) {
  const QRect span = strips_->rect_of(zone);
  if (span.isEmpty()) return;
  scroll_->ensureVisible(span.center().x(), 0, std::max(span.width() / 2, 20), 0);
}

void ZonePage::row_chosen(int row) {
  if (row < 0 || static_cast<std::size_t>(row) >= rows_.size()) return;
  const int zone = rows_[static_cast<std::size_t>(row)].zone;
  strips_->set_zone(zone);
  scroll_to(zone);
  told_.go_to(strips_->middle_of(zone));
}

void ZonePage::zone_chosen(const ZoneStrips::Place& place) {
  const auto row = std::find_if(rows_.begin(), rows_.end(), [&](const ZonePlace& one) {
    return one.zone == place.zone && one.speaks;
  });
  const int at = static_cast<int>(row - rows_.begin());
  if (row != rows_.end() && at != table_->currentRow()) {
    const QSignalBlocker quiet(table_);
    table_->setCurrentCell(at, 0);
  }
  scroll_to(place.zone);
  told_.go_to(place);
}

}  // namespace tidemark::view
