#pragma once

#include <QMainWindow>
#include <QPointer>
#include <cstddef>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "canvas.h"
#include "measurer.h"
#include "overlay.h"
#include "panel.h"
#include "tidemark/view/place.h"
#include "tidemark/view/review.h"

class QAction;
class QComboBox;
class QDoubleSpinBox;
class QLabel;
class QListWidget;
class QProgressBar;
class QPushButton;
class QSlider;
class QTimer;

namespace tidemark::view {

/// How the two films are shown, in the order of the keys 1 to 5.
enum class Showing { kSideBySide, kBlend, kEdge, kFlicker, kDifference };

/// The window: one hip, its films, what is said of it, and what is put right by hand.
class ReviewWindow : public QMainWindow {
 public:
  /// @param journals folder of the journals (view::journal_folder())
  /// @param memory   answers from before, as Measurer takes them; may be null
  explicit ReviewWindow(std::filesystem::path journals, Measurer::Memory memory = {});
  ~ReviewWindow() override;

  /// Opens the hip in a folder. What is wrong is said in the window.
  void open(const std::filesystem::path& folder) { open_in(folder, {}); }
  /// Opens these films, which stand in one folder; or the one folder among them.
  void open_these(const std::vector<std::filesystem::path>& paths);
  void correct(const std::string& told, const Sheet& sheet);
  void undo();
  void redo();
  void save();
  void report_to(const ReportOrder& order);
  void cancel();
  /// Reads the films that changed on the disk and measures again; takes in films that were put into
  /// the folder since, where nothing was corrected yet.
  void measure_again();
  void show_as(Showing showing);
  void choose(std::size_t film);
  void pick(const std::optional<Handle>& handle);
  void go_to(const ZoneStrips::Place& place);
  /// Writes the reader's mark on a zone of the chosen film into the sheet; asks first who reads
  /// when that is not known. No opinion: takes the reader's mark away.
  void mark_zone(const ZonePlace& place, std::optional<followup::Opinion> opinion);
  /// Takes in a point that arrow keys have moved and not let go of yet.
  void finish_pending();
  /// Who makes the marks: a name or initials. Kept until the window is closed.
  void set_reader(const QString& reader);
  [[nodiscard]] SidePanel* panel() const { return panel_; }

  /// Whether films are still read or measured.
  [[nodiscard]] bool busy() const { return loading_ > 0 || measuring_ || !reports_.empty(); }
  [[nodiscard]] Measurer::Memory memory() const { return measurer_->memory(); }
  [[nodiscard]] std::size_t films_kept() const { return measurer_->films_kept(); }
  [[nodiscard]] const std::shared_ptr<const MeasuredHip>& hip() const { return hip_; }
  [[nodiscard]] const Review* review() const { return review_ ? &*review_ : nullptr; }
  [[nodiscard]] FilmCanvas* left() const { return left_; }
  [[nodiscard]] FilmCanvas* right() const { return right_; }
  [[nodiscard]] const std::optional<Handle>& picked() const { return picked_; }
  [[nodiscard]] std::size_t chosen() const { return chosen_; }
  [[nodiscard]] QString message() const;
  /// What of the numbers shown is from before a correction; empty when nothing is.
  [[nodiscard]] QString stale_words() const;

 protected:
  void closeEvent(QCloseEvent* event) override;
  void dragEnterEvent(QDragEnterEvent* event) override;
  void dropEvent(QDropEvent* event) override;
  void resizeEvent(QResizeEvent* event) override;

 private:
  // Building (build_window.cpp, actions.cpp)
  void build();
  [[nodiscard]] FilmCanvas* make_canvas(const QString& name, QWidget* parent);
  [[nodiscard]] QWidget* make_asking_bar();
  [[nodiscard]] QWidget* make_message_bar();
  void make_status_bar();
  void make_actions();
  void make_tool_bar();
  void make_file_menu();
  void make_edit_menu();
  void make_hip_menu();
  void make_lines_menu();
  void make_view_menu();
  void add_layers(QMenu* menu);  ///< of the menu View: what is drawn on the films
  void add_looks(QMenu* menu);   ///< of the menu View: zoom and greys
  void add_steps(QMenu* menu);   ///< of the menu View: to other films and parts of the panel
  void make_help_menu();
  QAction* add_action(QMenu* menu, const QString& name, const QString& text, const QString& keys,
                      const std::function<void()>& done);
  void update_actions();

  // Dialogs (dialogs.cpp)
  void ask_folder();
  void ask_films();
  void ask_head_diameter();
  void ask_scale();
  void ask_report();
  void ask_reader(std::function<void()> then);
  void show_keys();
  void show_help();
  /// What explains the number that the keys are on; absent: they are on none.
  [[nodiscard]] std::optional<Help> help_here() const;
  void take_asked();

  // What is known (review_window.cpp)
  [[nodiscard]] Heard heard();
  /// Opens some films of a folder; with none named, all of it.
  void open_in(const std::filesystem::path& folder, const std::vector<std::string>& files);
  void set_review(Expected<Review> review);
  /// What undo or redo gave.
  void take_step(const Expected<std::optional<std::string>>& step, const QString& what);
  void remeasure();
  void take_other_films();
  void load_films();
  void take_film(const std::string& file, const Expected<std::shared_ptr<const LoadedFilm>>& film);
  void take_hip(const std::shared_ptr<const MeasuredHip>& hip);
  void settle_films();
  [[nodiscard]] std::size_t reference_now() const;
  void say(const QString& text);
  void say_not_listed();                ///< which films series.json leaves out, if any
  void say_also(const QString& text);   ///< below what is said already
  [[nodiscard]] bool leaves_reports();  ///< asks, where one is not written yet
  void refresh();
  void refresh_title();
  /// As the sheet calls it, else as its folder is called; empty: none is open.
  [[nodiscard]] QString hip_name() const;
  void forget_asked();  ///< what was entered for another hip
  void fill_time_line();
  void update_time_line();
  [[nodiscard]] const LoadedFilm* film_at(std::size_t index) const;
  [[nodiscard]] CanvasContent content_of(std::size_t film) const;
  [[nodiscard]] CanvasContent both_films() const;
  [[nodiscard]] std::optional<Affine2> follow_from_reference_film() const;
  [[nodiscard]] std::optional<Affine2> film_from_world(std::size_t film) const;
  /// The film as measured, its marks as the sheet has them now.
  [[nodiscard]] followup::FilmResult film_now(std::size_t film) const;
  void add_overlay(CanvasContent& content, std::size_t film) const;
  [[nodiscard]] Whose whose(std::size_t film) const;
  [[nodiscard]] QString title_of(std::size_t film) const;
  void fit();
  void fit_whole();
  void set_camera(const Camera& camera);
  void hurry();  ///< the films move under a hand
  void set_window(const Window& window);
  void set_share(double share);
  void mark_zone_of(std::size_t film, const ZonePlace& place,
                    std::optional<followup::Opinion> opinion);
  void handle_moved(const Handle& handle, const Vec2& world);
  void pick_grip(Grip grip);
  void pick_next(int step);
  void snap();
  void give_back();
  void toggle_layer(Layer layer, bool shown);
  void show_layer(Layer layer);  ///< its entry in the menu follows
  void lay_on(LaidOn laid_on);
  [[nodiscard]] FilmCanvas* active() const;
  [[nodiscard]] std::size_t active_film() const;

  std::filesystem::path journals_;
  std::optional<Review> review_;
  std::optional<followup::Series> series_;
  std::map<std::string, std::shared_ptr<const LoadedFilm>> films_;
  std::map<std::string, std::string> unreadable_;  ///< why, by file
  std::shared_ptr<const MeasuredHip> hip_;
  Sheet measured_;  ///< the sheet of hip_; while that is told early, of the one before
  Sheet ordered_;   ///< that of measure_order_
  Sheet told_;      ///< what hip_ answers, be it told early or not
  std::size_t reference_ = 0;
  std::size_t chosen_ = 0;
  bool chosen_for_good_ = false;  ///< by hand, or by the first numbers of the hip
  bool camera_by_hand_ = false;
  Showing showing_ = Showing::kSideBySide;
  LaidOn laid_on_ = LaidOn::kBone;
  bool flipped_ = false;
  Camera camera_;
  Window window_;
  double share_ = 0.5;
  std::set<Layer> layers_{Layer::kOutline, Layer::kLandmarks, Layer::kHead};
  std::optional<Handle> picked_;
  QString reader_;
  int loading_ = 0;
  bool measuring_ = false;
  std::set<Order> reports_;  ///< not answered yet
  Order load_order_ = 0;
  Order measure_order_ = 0;
  std::map<QString, QAction*> actions_;
  std::map<Layer, QAction*> layer_actions_;
  QPointer<QWidget> last_focus_;  ///< in this window, its menus left out

  FilmCanvas* left_ = nullptr;
  FilmCanvas* right_ = nullptr;
  SidePanel* panel_ = nullptr;
  QListWidget* time_line_ = nullptr;
  QWidget* asking_bar_ = nullptr;
  QLabel* asked_hip_ = nullptr;
  QComboBox* asked_side_ = nullptr;
  QDoubleSpinBox* asked_diameter_ = nullptr;
  QWidget* message_bar_ = nullptr;
  QLabel* message_ = nullptr;
  QLabel* status_ = nullptr;
  QProgressBar* progress_ = nullptr;
  QPushButton* cancel_button_ = nullptr;
  QTimer* flicker_ = nullptr;
  QSlider* share_slider_ = nullptr;
  std::unique_ptr<Measurer> measurer_;
};

}  // namespace tidemark::view
