#include <algorithm>

#include "figures.h"
#include "tidemark/core/number_text.h"

namespace tidemark::registry {
namespace {

constexpr double kWidth = 860, kLeft = 270, kBar = 330, kRow = 26, kTop = 34;

std::string counts_text(const CriterionShare& s) {
  std::string out = std::to_string(s.exceeds) + " / " + std::to_string(s.cannot_tell) + " / " +
                    std::to_string(s.within);
  return s.not_judged > 0 ? out + "  (" + std::to_string(s.not_judged) + " not judged)" : out;
}

void draw_bar(SvgCanvas& canvas, const CriterionShare& s, double y) {
  const auto all = static_cast<double>(s.exceeds + s.within + s.cannot_tell);
  const double beyond = kBar * static_cast<double>(s.exceeds) / all;
  const double open = kBar * static_cast<double>(s.cannot_tell) / all;
  canvas.box({kLeft, y}, kBar, 15, {"#000", 0.8, "#fff", ""});
  canvas.box({kLeft, y}, beyond, 15, {"#000", 0.8, "#000", ""});
  canvas.box({kLeft + beyond, y}, open, 15, {"#000", 0.8, "url(#hatch)", ""});
  const double low = kLeft + kBar * s.least->interval.low;
  const double high = kLeft + kBar * s.most->interval.high;
  canvas.line({low, y + 19}, {high, y + 19}, {"#000", 1.2, "none", ""});
  canvas.line({low, y + 16.5}, {low, y + 21.5}, {"#000", 1.2, "none", ""});
  canvas.line({high, y + 16.5}, {high, y + 21.5}, {"#000", 1.2, "none", ""});
}

}  // namespace

std::optional<Figure> criteria_figure(const CohortStudy& study) {
  std::vector<const CriterionShare*> rows;
  for (const CriterionShare& s : study.shares) {
    if (!s.visit && s.least) rows.push_back(&s);
  }
  if (rows.empty()) return std::nullopt;
  const bool grouped = study.cohort.groups.size() > 1;
  std::size_t headings = 0;
  std::string last;
  for (const auto* s : rows)
    headings += grouped && s->criterion != last ? (last = s->criterion, 1U) : 0U;
  const double height = kTop + kRow * static_cast<double>(rows.size() + headings) + 44;
  SvgCanvas canvas(kWidth, height);
  double y = kTop;
  last.clear();
  canvas.text({kLeft + kBar + 16, 20}, "beyond / cannot tell / within", {12});
  for (const CriterionShare* s : rows) {
    if (grouped && s->criterion != last) {
      canvas.text({8, y + 13}, s->criterion, {12, Anchor::kStart, "#000", "bold"});
      last = s->criterion;
      y += kRow;
    }
    canvas.text({kLeft - 10, y + 13}, grouped ? group_label(s->group) : s->criterion,
                {12, Anchor::kEnd});
    draw_bar(canvas, *s, y);
    canvas.text({kLeft + kBar + 16, y + 13}, counts_text(*s), {12});
    y += kRow;
  }
  for (int percent = 0; percent <= 100; percent += 25) {
    const double x = kLeft + kBar * percent / 100.0;
    canvas.line({x, y + 4}, {x, y + 9}, {"#000", 1.0, "none", ""});
    canvas.text({x, y + 23}, std::to_string(percent) + " %", {12, Anchor::kMiddle});
  }
  const std::string title = "Share of hips beyond each criterion, whole follow-up";
  return Figure{
      "criteria", title,
      "Black: beyond. Hatched: cannot tell, so that the true share lies between the end of "
      "the black and the end of the hatched part. White: within. Line below: outer ends of "
      "the exact 95 % intervals.",
      canvas.svg(title)};
}

}  // namespace tidemark::registry
