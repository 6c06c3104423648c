#include <QAction>
#include <QActionGroup>
#include <QMenu>
#include <QMenuBar>
#include <QSlider>
#include <QTimer>
#include <QToolBar>
#include <algorithm>
#include <utility>

#include "review_window.h"
#include "tidemark/core/text.h"

namespace tidemark::view {
namespace {

constexpr double kKeyZoom = 1.25;
constexpr double kKeyWidth = 1.15;
constexpr double kKeyLevel = 0.03;
constexpr double kKeyShare = 0.05;

}  // namespace

QAction* ReviewWindow::add_action(QMenu* menu, const QString& name, const QString& text,
                                  const QString& keys, const std::function<void()>& done) {
  QAction* action = menu->addAction(text);
  action->setObjectName(name);
  if (!keys.isEmpty()) action->setShortcuts(QKeySequence::listFromString(keys));
  connect(action, &QAction::triggered, this, [done] { done(); });
  actions_[name] = action;
  return action;
}

void ReviewWindow::make_actions() {
  make_file_menu();
  make_edit_menu();
  make_hip_menu();
  make_lines_menu();
  make_view_menu();
  make_help_menu();
  make_tool_bar();
}

void ReviewWindow::make_tool_bar() {
  QToolBar* bar = addToolBar("Films");
  bar->setObjectName("tool-bar");
  bar->setMovable(false);
  for (const char* name : {"show-1", "show-2", "show-3", "show-4", "show-5"}) {
    bar->addAction(actions_[name]);
  }
  share_slider_ = new QSlider(Qt::Horizontal, bar);
  share_slider_->setObjectName("share");
  share_slider_->setAccessibleName("How much of the follow-up film, or where the edge stands");
  share_slider_->setToolTip(share_slider_->accessibleName());
  share_slider_->setRange(0, 100);
  share_slider_->setValue(50);
  share_slider_->setMaximumWidth(130);
  connect(share_slider_, &QSlider::valueChanged, this, [this](int v) { set_share(v / 100.0); });
  bar->addWidget(share_slider_);
  bar->addSeparator();
  bar->addAction(actions_["on-bone"]);
  bar->addAction(actions_["on-stem"]);
  bar->addSeparator();
  for (const char* name : {"undo", "redo", "save", "report"}) bar->addAction(actions_[name]);
  actions_["save"]->setIconText("Save");
  actions_["report"]->setIconText("Report …");
}

void ReviewWindow::make_file_menu() {
  QMenu* menu = menuBar()->addMenu("F&ile");
  add_action(menu, "open-folder", "&Open the folder of a hip …", "Ctrl+O",
             [this] { ask_folder(); });
  add_action(menu, "open-films", "Open &films …", "Ctrl+Shift+O", [this] { ask_films(); });
  add_action(menu, "save", "&Save corrections to series.json", "Ctrl+S", [this] { save(); });
  add_action(menu, "report", "&Report …", "Ctrl+R", [this] { ask_report(); });
  add_action(menu, "measure", "&Measure again", "F5", [this] { measure_again(); });
  // Who lets go of a point means that alone: what was corrected just now is still being measured.
  add_action(menu, "cancel-work", "Let go of the point, else &cancel what runs", "Esc",
             [this] { picked_ ? pick(std::nullopt) : cancel(); });
  add_action(menu, "quit", "&Quit", "Ctrl+Q", [this] { close(); });
}

void ReviewWindow::make_edit_menu() {
  QMenu* menu = menuBar()->addMenu("&Correct");
  add_action(menu, "undo", "&Undo", "Ctrl+Z", [this] { undo(); });
  add_action(menu, "redo", "&Redo", "Ctrl+Shift+Z; Ctrl+Y", [this] { redo(); });
  menu->addSeparator();
  const std::vector<std::tuple<Grip, QString, QString>> grips{
      {Grip::kLesserTrochanter, "&Lesser trochanter", "L"},
      {Grip::kGreaterTrochanter, "&Greater trochanter", "G"},
      {Grip::kStemTip, "Stem &tip", "T"},
      {Grip::kStemShoulder, "Stem &shoulder", "U"},
      {Grip::kBoneEntry, "Upper border of the &zones", "V"},
      {Grip::kSecondZoneBorder, "Second border of the zones", "Shift+V"},
      {Grip::kThirdZoneBorder, "Third border of the zones", "W"},
      {Grip::kHeadCentre, "Centre of the &head", "H"},
      {Grip::kHeadEdge, "Edge of the head", "Shift+H"},
      {Grip::kStemAxisProximal, "Stem &axis, upper end", "A"},
      {Grip::kStemAxisDistal, "Stem axis, lower end", "Shift+A"},
      {Grip::kShaftAxisProximal, "Shaft axis, upper end", "B"},
      {Grip::kShaftAxisDistal, "Shaft axis, lower end", "Shift+B"}};
  for (const auto& [grip, text, keys] : grips) {
    add_action(menu, "pick-" + QString::fromStdString(words_of(grip)).replace(' ', '-'), text, keys,
               [this, what = grip] { pick_grip(what); });
  }
  menu->addSeparator();
  add_action(menu, "next", "Pick the &next point", "N", [this] { pick_next(1); });
  add_action(menu, "previous", "Pick the &previous point", "Shift+N", [this] { pick_next(-1); });
  add_action(menu, "snap", "Snap it to the &edge", "E", [this] { snap(); });
  add_action(menu, "give-back", "As the program &found it", "Del", [this] { give_back(); });
}

void ReviewWindow::make_hip_menu() {
  QMenu* menu = menuBar()->addMenu("&Hip");
  const auto side = [this](std::optional<Side> which, const char* told) {
    if (review_) correct(told, with_side(review_->sheet(), which));
  };
  add_action(menu, "side-right", "&Right hip", "", [side] { side(Side::kRight, "right hip"); });
  add_action(menu, "side-left", "&Left hip", "", [side] { side(Side::kLeft, "left hip"); });
  add_action(menu, "side-as-films", "Side as the films say", "",
             [side] { side({}, "side as the films say"); });
  add_action(menu, "head-diameter", "&Diameter of the head …", "Ctrl+D",
             [this] { ask_head_diameter(); });
  menu->addSeparator();
  add_action(menu, "reference",
             "The chosen film is the re&ference, taken right after the operation", "Ctrl+F",
             [this] {
               if (!review_) return;
               correct("reference film: " + printable(series_->films[chosen_].file),
                       with_reference(review_->sheet(), chosen_));
             });
  add_action(menu, "exclude", "Leave the chosen film &out, or take it in again", "Ctrl+E", [this] {
    if (!review_) return;
    const auto& film = series_->films[chosen_];
    const bool out = !film.excluded;
    Sheet sheet = with_use(review_->sheet(), chosen_, out ? Use::kExcluded : Use::kMeasured);
    if (out && hip_ && chosen_ < hip_->result.films.size()) {
      sheet = with_date_kept(std::move(sheet), chosen_, hip_->result.films[chosen_].date);
    }
    correct((out ? "left out: " : "taken in again: ") + printable(film.file), sheet);
  });
  add_action(menu, "scale", "&Scale of the film in front …", "Ctrl+M", [this] { ask_scale(); });
}

void ReviewWindow::make_lines_menu() {
  QMenu* menu = menuBar()->addMenu("&Lines");
  const auto step = [this](int by) {
    QTableWidget* zones = panel_->zones()->table();
    if (zones->rowCount() == 0) return;
    panel_->tabs()->setCurrentWidget(panel_->zones());
    zones->setCurrentCell(std::clamp(zones->currentRow() + by, 0, zones->rowCount() - 1), 0);
  };
  add_action(menu, "next-zone", "The ne&xt zone", "Z", [step] { step(1); });
  add_action(menu, "previous-zone", "The &previous zone", "Shift+Z", [step] { step(-1); });
  menu->addSeparator();
  const auto mark = [this](std::optional<followup::Opinion> opinion) {
    if (!panel_->zones()->chosen()) {
      say("Choose a zone first (Z, or a row of the table of zones).");
      return;
    }
    panel_->zones()->mark(opinion);
  };
  using followup::Opinion;
  add_action(menu, "mark-agree", "I &agree with the program here", "F2",
             [mark] { mark(Opinion::kAgree); });
  add_action(menu, "mark-disagree", "I &disagree", "F3", [mark] { mark(Opinion::kDisagree); });
  add_action(menu, "mark-cannot-tell", "I &cannot tell", "F4",
             [mark] { mark(Opinion::kCannotTell); });
  add_action(menu, "mark-none", "&Take my mark away", "Shift+F4", [mark] { mark(std::nullopt); });
  menu->addSeparator();
  add_action(menu, "reader", "&Who reads …", "", [this] { ask_reader({}); });
}

void ReviewWindow::make_view_menu() {
  QMenu* menu = menuBar()->addMenu("&View");
  const std::vector<std::tuple<Showing, QString, QString>> ways{
      {Showing::kSideBySide, "&Side by side", "1"},
      {Showing::kBlend, "&Blended", "2"},
      {Showing::kEdge, "Sliding &edge", "3"},
      {Showing::kFlicker, "In &turn", "4"},
      {Showing::kDifference, "&Difference in colour", "5"}};
  auto* showing = new QActionGroup(this);
  for (const auto& [way, text, keys] : ways) {
    QAction* action =
        add_action(menu, "show-" + keys, text, keys, [this, what = way] { show_as(what); });
    action->setCheckable(true);
    action->setChecked(way == showing_);
    showing->addAction(action);
  }
  menu->addSeparator();
  auto* laid = new QActionGroup(this);
  for (const bool bone : {true, false}) {
    QAction* action = add_action(menu, bone ? "on-bone" : "on-stem",
                                 bone ? "Bone on b&one" : "Stem on ste&m", bone ? "J" : "K",
                                 [this, bone] { lay_on(bone ? LaidOn::kBone : LaidOn::kStem); });
    action->setCheckable(true);
    action->setChecked(bone);
    laid->addAction(action);
  }
  add_action(menu, "more", "More of the follow-up film", ".",
             [this] { set_share(share_ + kKeyShare); });
  add_action(menu, "less", "More of the reference film", ",",
             [this] { set_share(share_ - kKeyShare); });
  add_action(menu, "flip", "Flip", "Space", [this] {
    if (showing_ != Showing::kFlicker) return;
    flicker_->stop();  // by hand from now on
    flipped_ = !flipped_;
    refresh();
  });
  menu->addSeparator();
  add_layers(menu);
  menu->addSeparator();
  add_looks(menu);
  menu->addSeparator();
  add_steps(menu);
}

void ReviewWindow::add_layers(QMenu* menu) {
  const std::vector<std::tuple<Layer, QString, QString>> layers{
      {Layer::kOutline, "Show the outline", "F6"},  {Layer::kAxes, "Show the axes", "F7"},
      {Layer::kLandmarks, "Show the points", "F8"}, {Layer::kHead, "Show head and cup", "F9"},
      {Layer::kZones, "Show the zones", "F10"},     {Layer::kLines, "Show where lines are", "F11"}};
  for (const auto& [layer, text, keys] : layers) {
    QAction* action = add_action(menu, "layer-" + keys, text, keys, [] {});
    action->setCheckable(true);
    action->setChecked(layers_.contains(layer));
    layer_actions_[layer] = action;
    connect(action, &QAction::toggled, this,
            [this, what = layer](bool shown) { toggle_layer(what, shown); });
  }
}

void ReviewWindow::add_looks(QMenu* menu) {
  const auto zoom = [this](double by) {
    camera_by_hand_ = true;
    set_camera({camera_.centre, std::clamp(camera_.zoom * by, 0.02, 40.0)});
  };
  add_action(menu, "fit", "The &hip", "0", [this] { fit(); });
  add_action(menu, "fit-whole", "The &whole film", "9", [this] { fit_whole(); });
  add_action(menu, "zoom-in", "Closer", "+; =", [zoom] { zoom(kKeyZoom); });
  add_action(menu, "zoom-out", "Farther", "-", [zoom] { zoom(1.0 / kKeyZoom); });
  const auto grey = [this](double level, double width) {
    set_window({std::clamp(window_.level + level, -0.5, 1.5),
                std::clamp(window_.width * width, 0.02, 4.0)});
  };
  add_action(menu, "brighter", "Brighter", "PgUp", [grey] { grey(-kKeyLevel, 1.0); });
  add_action(menu, "darker", "Darker", "PgDown", [grey] { grey(kKeyLevel, 1.0); });
  add_action(menu, "harder", "More contrast", "]", [grey] { grey(0.0, 1.0 / kKeyWidth); });
  add_action(menu, "softer", "Less contrast", "[", [grey] { grey(0.0, kKeyWidth); });
  add_action(menu, "grey-reset", "Greys as at the start", "R", [this] { set_window({}); });
}

void ReviewWindow::add_steps(QMenu* menu) {
  const auto step = [this](int by) {
    if (!series_) return;
    const auto n = static_cast<int>(series_->films.size());
    int at = static_cast<int>(chosen_);
    do {
      at = (at + by + n) % n;
    } while (at == static_cast<int>(reference_) && n > 1);
    choose(static_cast<std::size_t>(at));
    update_time_line();
  };
  add_action(menu, "next-film", "Ne&xt follow-up film", "Ctrl+Right", [step] { step(1); });
  add_action(menu, "previous-film", "&Previous follow-up film", "Ctrl+Left", [step] { step(-1); });
  for (int tab = 0; tab < 5; ++tab) {
    const QString name = panel_->tabs()->tabText(tab).remove('&');
    add_action(menu, QString("tab-%1").arg(tab), "Panel: " + name, QString("Ctrl+%1").arg(tab + 1),
               [this, tab] {
                 panel_->tabs()->setCurrentIndex(tab);
                 panel_->tabs()->currentWidget()->setFocus();
               });
  }
}

void ReviewWindow::make_help_menu() {
  QMenu* menu = menuBar()->addMenu("Hel&p");
  add_action(menu, "help", "What this number &means", "F1", [this] { show_help(); });
  add_action(menu, "keys", "&Keys and mouse", "Shift+F1", [this] { show_keys(); });
}

void ReviewWindow::update_actions() {
  const bool open = review_.has_value();
  actions_["save"]->setEnabled(open && review_->unsaved());
  actions_["undo"]->setEnabled(open && review_->done() > 0);
  actions_["redo"]->setEnabled(open && review_->done() < review_->steps().size());
  for (const char* name :
       {"report", "measure", "reference", "exclude", "scale", "head-diameter", "side-right",
        "side-left", "side-as-films", "next-film", "previous-film", "next-zone", "previous-zone",
        "mark-agree", "mark-disagree", "mark-cannot-tell", "mark-none"}) {
    actions_[name]->setEnabled(open);
  }
  actions_["snap"]->setEnabled(picked_.has_value());
  actions_["give-back"]->setEnabled(picked_.has_value());
}

}  // namespace tidemark::view
