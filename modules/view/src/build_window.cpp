#include <QAction>
#include <QComboBox>
#include <QDoubleSpinBox>
#include <QHBoxLayout>
#include <QIcon>
#include <QLabel>
#include <QListWidget>
#include <QProgressBar>
#include <QPushButton>
#include <QSplitter>
#include <QStatusBar>
#include <QTimer>
#include <QVBoxLayout>

#include "review_window.h"
#include "tidemark/core/date.h"
#include "tidemark/core/text.h"

namespace tidemark::view {
namespace {

/// Slow enough to be no hazard (WCAG 2.1, 2.3.1: at most three flashes a second).
constexpr int kFlickerMs = 700;
constexpr int kThumbnail = 72;

QIcon thumbnail_of(const Picture& picture, const Window& window) {
  const auto& full = picture.levels.front();
  const double step = static_cast<double>(std::max(full.width, full.height)) / kThumbnail;
  Affine2 film_from_screen;
  film_from_screen.linear *= step;
  film_from_screen.offset =
      0.5 * (Vec2(full.width, full.height) - Vec2::Constant(step * kThumbnail));
  const auto pixels = drawn({{&picture, film_from_screen}, {}, Mix::kFirst, 0.5, window},
                            kThumbnail, kThumbnail, 1);
  const QImage image(reinterpret_cast<const uchar*>(pixels.values.data()), kThumbnail, kThumbnail,
                     4 * kThumbnail, QImage::Format_RGB32);
  return QIcon(QPixmap::fromImage(image.copy()));
}

/// Room for a thumbnail and the two lines below it; longer names are cut, the tool tip has them.
QSize entry_of_time_line(const QFontMetrics& font) {
  const int widest = std::max(font.horizontalAdvance("not measured"), kThumbnail);
  return {widest + 12, kThumbnail + 2 * font.lineSpacing() + 10};
}

/// The comparisons of a film, as follow-up.
std::vector<const followup::ComparisonResult*> pairs_of(const MeasuredHip* hip, std::size_t film) {
  std::vector<const followup::ComparisonResult*> out;
  if (hip == nullptr) return out;
  for (const auto& pair : hip->result.comparisons) {
    if (pair.follow_up == film) out.push_back(&pair);
  }
  return out;
}

}  // namespace

void ReviewWindow::build() {
  setObjectName("review-window");
  setAcceptDrops(true);
  resize(1280, 720);
  auto* films = new QSplitter(Qt::Horizontal, this);
  films->setChildrenCollapsible(false);
  left_ = make_canvas("film-left", films);
  right_ = make_canvas("film-right", films);
  left_->setAccessibleName("Reference film, or both films laid over each other");
  right_->setAccessibleName("Chosen film");
  films->addWidget(left_);
  films->addWidget(right_);
  time_line_ = new QListWidget(this);
  time_line_->setObjectName("time-line");
  time_line_->setAccessibleName(
      "Films of this hip, as series.json or the folder lists them; choose the follow-up film");
  time_line_->setFlow(QListView::LeftToRight);
  time_line_->setWrapping(false);
  time_line_->setViewMode(QListView::IconMode);
  time_line_->setMovement(QListView::Static);
  time_line_->setIconSize(QSize(kThumbnail, kThumbnail));
  time_line_->setSpacing(4);
  time_line_->setTextElideMode(Qt::ElideMiddle);
  time_line_->setFixedHeight(kThumbnail + 62);
  connect(time_line_, &QListWidget::currentRowChanged, this, [this](int row) {
    if (row >= 0) choose(static_cast<std::size_t>(row));
  });
  auto* left_part = new QWidget(this);
  auto* column = new QVBoxLayout(left_part);
  column->setContentsMargins(0, 0, 0, 0);
  column->setSpacing(2);
  column->addWidget(make_message_bar());
  column->addWidget(make_asking_bar());
  column->addWidget(films, 1);
  column->addWidget(time_line_);
  panel_ = new SidePanel(
      {[this](const ZoneStrips::Place& place) { go_to(place); },
       [this](const ZonePlace& place, std::optional<followup::Opinion> opinion) {
         mark_zone(place, opinion);
       }},
      [this] { show_help(); }, this);
  auto* whole = new QSplitter(Qt::Horizontal, this);
  whole->setChildrenCollapsible(false);
  whole->addWidget(left_part);
  whole->addWidget(panel_);
  whole->setStretchFactor(0, 1);
  whole->setStretchFactor(1, 0);
  whole->setSizes({880, 400});
  setCentralWidget(whole);
  flicker_ = new QTimer(this);
  flicker_->setInterval(kFlickerMs);
  connect(flicker_, &QTimer::timeout, this, [this] {
    flipped_ = !flipped_;
    left_->set_content(both_films());
  });
  make_status_bar();
  make_actions();
}

FilmCanvas* ReviewWindow::make_canvas(const QString& name, QWidget* parent) {
  FilmCanvas::Told told;
  told.camera = [this](const Camera& camera) {
    camera_by_hand_ = true;
    hurry();
    set_camera(camera);
  };
  told.window = [this](const Window& window) {
    hurry();
    set_window(window);
  };
  told.share = [this](double share) {
    hurry();
    set_share(share);
  };
  told.picked = [this](const std::optional<Handle>& handle) { pick(handle); };
  told.moved = [this](const Handle& handle, const Vec2& world) { handle_moved(handle, world); };
  told.entered = [this] { update_actions(); };
  return new FilmCanvas(name, std::move(told), parent);
}

QWidget* ReviewWindow::make_message_bar() {
  message_bar_ = new QWidget(this);
  auto* row = new QHBoxLayout(message_bar_);
  row->setContentsMargins(8, 4, 4, 4);
  message_ = new QLabel(message_bar_);
  message_->setObjectName("message");
  message_->setWordWrap(true);
  message_->setTextInteractionFlags(Qt::TextSelectableByMouse);
  auto* close = new QPushButton("Noted", message_bar_);
  close->setObjectName("noted");
  close->setAccessibleName("Close this message");
  connect(close, &QPushButton::clicked, this, [this] { say(""); });
  row->addWidget(message_, 1);
  row->addWidget(close);
  message_bar_->hide();
  return message_bar_;
}

QWidget* ReviewWindow::make_asking_bar() {
  asking_bar_ = new QWidget(this);
  asking_bar_->setObjectName("asking");
  auto* row = new QHBoxLayout(asking_bar_);
  row->setContentsMargins(8, 4, 4, 4);
  // Whose side and head are asked for stands beside the question: hips follow each other.
  asked_hip_ = new QLabel(asking_bar_);
  asked_hip_->setObjectName("asked-hip");
  asked_side_ = new QComboBox(asking_bar_);
  asked_side_->setObjectName("asked-side");
  asked_side_->addItems({"as the films say", "right", "left"});
  asked_diameter_ = new QDoubleSpinBox(asking_bar_);
  asked_diameter_->setObjectName("asked-diameter");
  // 0 stands for unknown; the range is that of series.json.
  asked_diameter_->setRange(0.0, followup::kHeadDiameterMm.high);
  asked_diameter_->setDecimals(1);
  asked_diameter_->setSuffix(" mm");
  asked_diameter_->setSpecialValueText("not known");
  auto* side = new QLabel("Si&de of the hip:", asking_bar_);
  side->setBuddy(asked_side_);
  auto* diameter = new QLabel("Diamete&r of the head:", asking_bar_);
  diameter->setBuddy(asked_diameter_);
  auto* take = new QPushButton("&Measure", asking_bar_);
  take->setObjectName("asked-take");
  connect(take, &QPushButton::clicked, this, [this] { take_asked(); });
  row->addWidget(asked_hip_);
  row->addWidget(side);
  row->addWidget(asked_side_);
  row->addWidget(diameter);
  row->addWidget(asked_diameter_);
  row->addWidget(take);
  row->addStretch(1);
  asking_bar_->hide();
  return asking_bar_;
}

void ReviewWindow::make_status_bar() {
  status_ = new QLabel(this);
  status_->setObjectName("status");
  progress_ = new QProgressBar(this);
  progress_->setObjectName("progress");
  progress_->setAccessibleName("Progress of reading and measuring");
  progress_->setMaximumWidth(160);
  cancel_button_ = new QPushButton("Cancel (Esc)", this);
  cancel_button_->setObjectName("cancel");
  connect(cancel_button_, &QPushButton::clicked, this, [this] { cancel(); });
  statusBar()->addWidget(status_, 1);
  statusBar()->addPermanentWidget(progress_);
  statusBar()->addPermanentWidget(cancel_button_);
}

void ReviewWindow::fill_time_line() {
  const QSignalBlocker quiet(time_line_);
  time_line_->clear();
  if (!series_) return;
  for (std::size_t i = 0; i < series_->films.size(); ++i) new QListWidgetItem(time_line_);
  update_time_line();
}

void ReviewWindow::update_time_line() {
  if (!series_) return;
  const QSignalBlocker quiet(time_line_);
  for (std::size_t i = 0; i < series_->films.size(); ++i) {
    QListWidgetItem* item = time_line_->item(static_cast<int>(i));
    if (item == nullptr) return;
    const auto& entry = series_->films[i];
    const followup::FilmResult* film =
        hip_ && i < hip_->result.films.size() ? &hip_->result.films[i] : nullptr;
    const auto date = film != nullptr ? film->date : entry.date;
    QString text = date ? QString::fromStdString(format_date(*date))
                        : QString::fromStdString(printable(entry.file));
    QString spoken = QString::fromStdString(printable(entry.file)) + ", " + text;
    QString under;
    if (i == reference_) under = "reference";
    if (film != nullptr && film->view == View::kLateral) under = "lateral";
    for (const auto* pair : pairs_of(hip_.get(), i)) {
      if (pair->days) under = QString("day %1").arg(*pair->days);
    }
    if (entry.excluded) under = "left out";
    if (film != nullptr && film->status == followup::Status::kNotMeasured && !entry.excluded) {
      under = "not measured";
      spoken += ": " + QString::fromStdString(printable(film->reason));
    }
    item->setText(text + "\n" + (under.isEmpty() ? " " : under));
    item->setSizeHint(entry_of_time_line(time_line_->fontMetrics()));
    item->setToolTip(spoken + (under.isEmpty() ? "" : ", " + under));
    item->setData(Qt::AccessibleTextRole, spoken + ", " + under);
    if (item->icon().isNull()) {
      if (const LoadedFilm* loaded = film_at(i)) item->setIcon(thumbnail_of(loaded->picture, {}));
    }
  }
  time_line_->setCurrentRow(static_cast<int>(chosen_));
}

}  // namespace tidemark::view
