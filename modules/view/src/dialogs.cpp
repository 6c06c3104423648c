#include <QCheckBox>
#include <QComboBox>
#include <QDialog>
#include <QDialogButtonBox>
#include <QDoubleSpinBox>
#include <QFileDialog>
#include <QFormLayout>
#include <QInputDialog>
#include <QLabel>
#include <QLineEdit>
#include <QPlainTextEdit>
#include <QPointer>
#include <QPushButton>
#include <QTextBrowser>
#include <QVBoxLayout>
#include <algorithm>
#include <cmath>
#include <functional>
#include <optional>

#include "review_window.h"
#include "tidemark/core/number_text.h"
#include "tidemark/core/range.h"
#include "tidemark/core/text.h"
#include "tidemark/report/write.h"
#include "widgets.h"

namespace tidemark::view {
namespace {

/// @param back has the focus again when the text is closed; may be null
void show_text(QWidget* parent, QWidget* back, const QString& title, const QString& html) {
  auto* dialog = new QDialog(parent);
  dialog->setAttribute(Qt::WA_DeleteOnClose);
  dialog->setWindowTitle(title);
  dialog->resize(720, std::min(680, std::max(400, parent->height() - 60)));
  dialog->setObjectName("help-dialog");
  QTextBrowser* text = browser_in(dialog, "help-text", title);
  text->setHtml(html);
  QObject::connect(dialog, &QDialog::finished, parent, [parent, before = QPointer<QWidget>(back)] {
    parent->activateWindow();
    if (before) before->setFocus();
  });
  auto* buttons = new QDialogButtonBox(QDialogButtonBox::Close, dialog);
  QObject::connect(buttons, &QDialogButtonBox::rejected, dialog, &QDialog::close);
  auto* layout = new QVBoxLayout(dialog);
  layout->addWidget(text);
  layout->addWidget(buttons);
  dialog->open();
}

/// A number that the sheet may give or leave to the films.
struct Question {
  QString name;  ///< of the dialog
  QString title;
  QString text;
  Range range{};
  int decimals = 1;
  std::optional<double> given = {};  ///< by the sheet now
};

/// Asks for a number. Nothing is filled in that nobody stated: whoever only presses Enter states
/// nothing.
/// @param then is told another number, or nothing: as the films say; not called when all stays
void ask_number(QWidget* parent, const Question& question,
                const std::function<void(std::optional<double>)>& then) {
  auto* dialog = new QDialog(parent);
  dialog->setAttribute(Qt::WA_DeleteOnClose);
  dialog->setObjectName(question.name);
  dialog->setWindowTitle(question.title);
  auto* number = new QDoubleSpinBox(dialog);
  number->setObjectName(question.name + "-number");
  number->setRange(0.0, question.range.high);  // 0 stands for unknown
  number->setDecimals(question.decimals);
  number->setSingleStep(std::pow(10.0, -question.decimals));
  number->setSpecialValueText("not given");
  number->setSuffix(" mm");
  number->setValue(question.given.value_or(0.0));
  number->selectAll();
  auto* label = new QLabel(question.text, dialog);
  label->setTextFormat(Qt::PlainText);
  label->setWordWrap(true);
  label->setBuddy(number);
  auto* buttons = new QDialogButtonBox(QDialogButtonBox::Ok | QDialogButtonBox::Cancel, dialog);
  QPushButton* take = buttons->button(QDialogButtonBox::Ok);
  auto* give_back = buttons->addButton("As the &films say", QDialogButtonBox::ResetRole);
  give_back->setObjectName(question.name + "-as-films");
  give_back->setEnabled(question.given.has_value());
  auto* column = new QVBoxLayout(dialog);
  column->addWidget(label);
  column->addWidget(number);
  column->addWidget(buttons);
  const double before = number->value();
  const auto check = [=] {
    take->setEnabled(number->value() >= question.range.low && number->value() != before);
  };
  check();
  QObject::connect(number, qOverload<double>(&QDoubleSpinBox::valueChanged), dialog, check);
  QObject::connect(buttons, &QDialogButtonBox::rejected, dialog, &QDialog::reject);
  QObject::connect(buttons, &QDialogButtonBox::accepted, dialog, [=] {
    dialog->accept();
    then(number->value());
  });
  QObject::connect(give_back, &QPushButton::clicked, dialog, [=] {
    dialog->accept();
    then({});
  });
  dialog->open();
}

constexpr Range kScaleMm{0.01, 2.0};  ///< of a pixel in the plane of the stem; house choice

constexpr const char* kKeys = R"(
<h3>Mouse</h3>
<p>Drag: move the films; drag a point: correct it. Wheel: closer or farther. Right button, or Shift with the left
one: greys (sideways contrast, up and down brightness). Double click: put the picked point there.</p>
<h3>Keys</h3>
<p>Every entry of the menus shows its key; Alt opens the menus, Tab goes from part to part.</p>
<p>Arrows: move the films, or the picked point by one pixel; with Shift by ten. N and Shift+N pick the next and the
previous point, E snaps it to the edge, Del gives it back to the program, Esc lets go of it; where
none is picked, Esc cancels what runs.</p>
<p>F1 explains the number or the point that the keys are on: what it means, how it was measured, which source.
Esc goes back.</p>
<p>1 to 5: side by side, blended, sliding edge, in turn, difference. J and K: bone on bone, stem on stem.
. and , : more of the follow-up, more of the reference film. F6 to F11: marks on the films.</p>
<p>Z and Shift+Z: the next and the previous zone. F2 agree, F3 disagree, F4 cannot tell, Shift+F4 takes the mark
away. On the unrolled interface left and right go from zone to zone, a click goes to the place on both films.</p>
)";

}  // namespace

void ReviewWindow::ask_folder() {
  const QString folder = QFileDialog::getExistingDirectory(this, "Folder of the films of one hip");
  if (!folder.isEmpty()) open(folder.toStdString());
}

void ReviewWindow::ask_films() {
  const QStringList files = QFileDialog::getOpenFileNames(
      this, "Films of one hip", {}, "Films (*.dcm *.png *.tif *.tiff *.jpg *.jpeg);;All files (*)");
  std::vector<std::filesystem::path> paths;
  for (const QString& file : files) paths.emplace_back(file.toStdString());
  open_these(paths);
}

void ReviewWindow::take_asked() {
  if (!review_) return;
  Sheet sheet = review_->sheet();
  if (asked_side_->currentIndex() > 0) {
    sheet = with_side(sheet, asked_side_->currentIndex() == 1 ? Side::kRight : Side::kLeft);
  }
  if (asked_diameter_->value() > 0.0) {
    sheet = with_head_diameter(sheet, Millimetres{asked_diameter_->value()});
  }
  correct("side and diameter of the head", sheet);
}

void ReviewWindow::forget_asked() {
  asked_side_->setCurrentIndex(0);
  asked_diameter_->setValue(0.0);
}

void ReviewWindow::ask_head_diameter() {
  if (!review_) return;
  Question question{"head-dialog", "Diameter of the head",
                    "&Diameter of the femoral head, mm:", followup::kHeadDiameterMm};
  if (const auto& given = series_->stem.head_diameter) question.given = given->value;
  ask_number(this, question, [this](std::optional<double> mm) {
    if (!review_) return;
    std::optional<Millimetres> diameter;
    if (mm) diameter = Millimetres{*mm};
    correct("diameter of the head: " + (mm ? fixed_text(*mm, 1) + " mm" : "as the films say"),
            with_head_diameter(review_->sheet(), diameter));
  });
}

void ReviewWindow::ask_scale() {
  if (!review_) return;
  const std::size_t film = active_film();
  const auto& entry = series_->films[film];
  const std::string file = printable(entry.file);
  Question question{"scale-dialog", "Scale",
                    "&Millimetres in the plane of the stem for one pixel of " +
                        QString::fromStdString(file).replace("&", "&&") + ".",
                    kScaleMm, 5};
  if (entry.scale) question.given = entry.scale->value.value;
  const bool measured = hip_ && film < hip_->result.films.size() &&
                        hip_->result.films[film].calibration.has_value() && !entry.scale;
  if (measured) {
    const double now = hip_->result.films[film].calibration->mm_per_px.value.value;
    question.text += " Measured now: " + QString::fromStdString(fixed_text(now, 5)) + " mm.";
  }
  ask_number(this, question, [this, film, file](std::optional<double> mm) {
    if (!review_) return;
    std::optional<MillimetresPerPixel> scale;
    if (mm) scale = MillimetresPerPixel{*mm};
    correct("scale of " + file + ": " + (mm ? fixed_text(*mm, 5) + " mm" : "as the film says"),
            with_scale(review_->sheet(), film, scale));
  });
}

void ReviewWindow::ask_reader(std::function<void()> then) {
  auto* dialog = new QInputDialog(this);
  dialog->setAttribute(Qt::WA_DeleteOnClose);
  dialog->setObjectName("reader-dialog");
  dialog->setWindowTitle("Who reads");
  dialog->setLabelText("Your name or initials. They are written to series.json with your marks:");
  dialog->setTextValue(reader_);
  connect(dialog, &QInputDialog::textValueSelected, this,
          [this, then = std::move(then)](const QString& text) {
            set_reader(text);
            if (!reader_.isEmpty() && then) then();
          });
  dialog->open();
}

void ReviewWindow::ask_report() {
  if (!review_) return;
  auto* dialog = new QDialog(this);
  dialog->setAttribute(Qt::WA_DeleteOnClose);
  dialog->setObjectName("report-dialog");
  dialog->setWindowTitle("Report");
  auto* form = new QFormLayout(dialog);
  const auto beside =
      review_->folder().parent_path() / (review_->folder().filename().string() + "-report");
  auto* folder = new QLineEdit(QString::fromStdString(beside.string()), dialog);
  folder->setObjectName("report-folder");
  auto* html = new QCheckBox("Page (HTML)", dialog);
  auto* pdf = new QCheckBox("PDF", dialog);
  auto* dicom =
      new QCheckBox("Objects for the archive (DICOM), which carry the patient's identity", dialog);
  html->setChecked(true);
  pdf->setChecked(true);
  auto* reviewer = new QLineEdit(dialog);
  auto* notes = new QPlainTextEdit(dialog);
  notes->setTabChangesFocus(true);
  notes->setMaximumHeight(100);
  form->addRow("&Folder:", folder);
  form->addRow(html);
  form->addRow(pdf);
  form->addRow(dicom);
  form->addRow("&Reviewed by:", reviewer);
  form->addRow("&Notes:", notes);
  auto* buttons = new QDialogButtonBox(QDialogButtonBox::Cancel, dialog);
  buttons->addButton("&Write the report", QDialogButtonBox::AcceptRole);
  form->addRow(buttons);
  connect(buttons, &QDialogButtonBox::rejected, dialog, &QDialog::reject);
  connect(buttons, &QDialogButtonBox::accepted, dialog, [=, this] {
    ReportOrder order{folder->text().toStdString(),
                      {},
                      dicom->isChecked(),
                      printable(reviewer->text().trimmed().toStdString()),
                      printable(notes->toPlainText().simplified().toStdString())};
    if (html->isChecked()) order.forms.push_back(report::Form::kHtml);
    if (pdf->isChecked()) order.forms.push_back(report::Form::kPdf);
    report_to(order);
    dialog->accept();
  });
  dialog->open();
}

void ReviewWindow::show_keys() { show_text(this, last_focus_, "Keys and mouse", kKeys); }

std::optional<Help> ReviewWindow::help_here() const {
  if (!hip_ || hip_->result.films.size() != series_->films.size()) return {};
  const HelpFrom from{hip_->result, hip_->document};
  const QWidget* focus = last_focus_;
  if (focus == left_ || focus == right_) {
    return picked_ ? help_of(from, *picked_) : help_of_film(from, active_film());
  }
  if (focus == time_line_) return help_of_film(from, chosen_);
  return panel_->help_at(focus, from, chosen_);
}

void ReviewWindow::show_help() {
  const auto help = help_here();
  show_text(this, last_focus_, help ? QString::fromStdString(help->title) : "What the numbers mean",
            QString::fromStdString(help ? html_of(*help) : general_help()));
}

}  // namespace tidemark::view
