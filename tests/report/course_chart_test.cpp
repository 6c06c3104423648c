#include "../../modules/report/src/course_chart.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "../../modules/report/src/svg.h"

namespace tidemark::report {
namespace {

template <class Kind>
std::vector<Kind> marks_of(const Drawing& drawing) {
  std::vector<Kind> out;
  for (const Mark& mark : drawing.marks) {
    if (const auto* one = std::get_if<Kind>(&mark)) out.push_back(*one);
  }
  return out;
}

bool says(const Drawing& drawing, const std::string& text) {
  const auto texts = marks_of<TextMark>(drawing);
  return std::any_of(texts.begin(), texts.end(), [&](const auto& one) { return one.text == text; });
}

TEST(TickStep, IsOneTwoOrFive) {  // derived
  EXPECT_DOUBLE_EQ(tick_step(0.0, 6.0, 6), 1.0);
  EXPECT_DOUBLE_EQ(tick_step(0.0, 6.1, 6), 2.0);
  EXPECT_DOUBLE_EQ(tick_step(-1.0, 1.0, 6), 0.5);
  EXPECT_DOUBLE_EQ(tick_step(0.0, 300.0, 6), 50.0);
}

TEST(CourseChart, BarsReachAsFarAsTheInterval) {
  const Texts say(Language::kEnglish);
  Course course;
  course.positive = PositiveIs::kDown;
  course.points = {{42.0, 2.0, 0.5}, {90.0, 2.0, 1.0}};
  const Drawing drawing = drawn(course, say);
  std::vector<double> heights;
  for (const LineMark& line : marks_of<LineMark>(drawing)) {
    const Vec2 way = line.points[1] - line.points[0];
    if (line.points.size() == 2 && way.x() == 0.0 && line.stroke.ink == Ink::kMeasure) {
      heights.push_back(std::abs(way.y()));
    }
  }
  ASSERT_EQ(heights.size(), 2U);
  EXPECT_NEAR(heights[1], 2.0 * heights[0], 1e-9);
  const auto points = marks_of<PointMark>(drawing);
  ASSERT_EQ(points.size(), 3U);                   // two films and the reference film
  EXPECT_GT(points[0].at.y(), points[2].at.y());  // deeper is lower
  EXPECT_EQ(points[2].shape, Shape::kRing);
}

// 300 days before the reference film of a course of 730 days.
TEST(CourseChart, FilmsFromBeforeTheReferenceFilmAreInTheDrawing) {
  const Texts say(Language::kEnglish);
  Course course;
  course.points = {{-300.0, -3.0, 0.5}, {730.0, 0.5, 0.5}};
  const Drawing drawing = drawn(course, say);
  const auto points = marks_of<PointMark>(drawing);
  ASSERT_EQ(points.size(), 3U);
  for (const PointMark& point : points) {
    EXPECT_GE(point.at.x(), 46.0) << "right of the axis of values";
    EXPECT_LE(point.at.x(), drawing.width);
  }
  EXPECT_LT(points[0].at.x(), points[2].at.x()) << "left of the reference film";
  EXPECT_TRUE(says(drawing, "-6") || says(drawing, "\u22126"));  // months
}

TEST(CourseChart, LimitsAndWindowAreInTheDrawing) {
  const Texts say(Language::kEnglish);
  Course course;
  course.points = {{400.0, 0.2, 0.3}};
  course.limits = {{3.0, "limit A"}};
  course.window = CourseWindow{0.0, 84.0, "settling"};
  const Drawing drawing = drawn(course, say);
  EXPECT_TRUE(says(drawing, "limit A"));
  EXPECT_TRUE(says(drawing, "settling"));
  ASSERT_EQ(marks_of<AreaMark>(drawing).size(), 1U);
  for (const LineMark& line : marks_of<LineMark>(drawing)) {
    for (const Vec2& p : line.points) {  // the limit widens the axis instead of leaving the drawing
      EXPECT_GE(p.y(), 0.0);
      EXPECT_LE(p.y(), drawing.height);
    }
  }
}

TEST(CourseChart, LimitsHoldInTheirTimeOnly) {
  const Texts say(Language::kEnglish);
  Course course;
  course.points = {{100.0, 0.2, 0.3}};
  course.limits = {{1.0, "early", 20.0, 60.0}, {9.0, "much later", 700.0, 760.0}};
  const Drawing drawing = drawn(course, say);
  EXPECT_TRUE(says(drawing, "early"));
  EXPECT_FALSE(says(drawing, "much later"));
  std::vector<double> lengths;
  for (const LineMark& line : marks_of<LineMark>(drawing)) {
    if (line.stroke.ink == Ink::kAlert) lengths.push_back(line.points[1].x() - line.points[0].x());
  }
  ASSERT_EQ(lengths.size(), 1U);
  // 40 of the 108 days that the axis spans, 370 wide.
  EXPECT_NEAR(lengths[0], 370.0 * 40.0 / 108.0, 0.5);
}

TEST(CourseChart, NamesOfLimitsStandBesideThePoints) {
  const Texts say(Language::kEnglish);
  Course course;
  course.positive = PositiveIs::kDown;
  course.points = {{44.0, 2.8, 1.3}, {93.0, 2.2, 0.5}};
  course.limits = {{3.0, "M-ALN: 3 mm", 27.0, 70.0}};  // its line crosses the first bar
  const Drawing drawing = drawn(course, say);
  const auto points = marks_of<PointMark>(drawing);
  ASSERT_FALSE(points.empty());
  int labels = 0;
  for (const TextMark& text : marks_of<TextMark>(drawing)) {
    if (text.text != "M-ALN: 3 mm") continue;
    ++labels;
    EXPECT_EQ(text.anchor, Anchor::kStart);
    const double right = text.at.x() + 0.6 * text.size * static_cast<double>(text.text.size());
    EXPECT_TRUE(points[0].at.x() < text.at.x() - 5.0 || points[0].at.x() > right + 5.0);
  }
  EXPECT_EQ(labels, 1);
}

TEST(CourseChart, FittedCourseStandsForTheLineThatJoins) {
  const Texts say(Language::kEnglish);
  Course course;
  course.points = {{50.0, 0.5, 0.3}, {100.0, 0.6, 0.3}};
  const auto curves = [&] {
    std::size_t found = 0;
    for (const LineMark& line : marks_of<LineMark>(drawn(course, say))) {
      found += line.points.size() >= 3 ? 1U : 0U;
    }
    return found;
  };
  EXPECT_EQ(curves(), 1U);
  course.fitted = {{1.0, 0.0, -0.1, 0.1}, {50.0, 0.5, 0.3, 0.7}, {99.0, 0.6, 0.4, 0.8}};
  EXPECT_EQ(curves(), 3U);  // median and both ends
}

TEST(Svg, NumbersAreShortAndPlain) {
  EXPECT_EQ(svg_number(1.0), "1");
  EXPECT_EQ(svg_number(-0.001), "0");
  EXPECT_EQ(svg_number(2.346), "2.35");
  EXPECT_EQ(svg_number(1e6), "1000000");
  EXPECT_EQ(svg_path({Vec2(0, 0), Vec2(1.5, -2)}), "M0 0L1.5 -2");
}

}  // namespace
}  // namespace tidemark::report
