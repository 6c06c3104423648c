#include "tidemark/surface/mesh.h"

#include <gtest/gtest.h>
#include <vtkCellArray.h>
#include <vtkNew.h>
#include <vtkPLYWriter.h>
#include <vtkPoints.h>
#include <vtkPolyData.h>
#include <vtkSTLWriter.h>
#include <vtkXMLPolyDataWriter.h>

#include <fstream>
#include <string>

#include "drawn_stem.h"
#include "scratch.h"

namespace tidemark::surface {
namespace {

namespace fs = std::filesystem;

vtkNew<vtkPolyData> as_vtk(const Mesh& mesh) {
  vtkNew<vtkPolyData> data;
  vtkNew<vtkPoints> points;
  points->SetDataTypeToDouble();
  for (const Vec3& p : mesh.points) points->InsertNextPoint(p.data());
  vtkNew<vtkCellArray> cells;
  for (const auto& t : mesh.triangles) cells->InsertNextCell({t[0], t[1], t[2]});
  data->SetPoints(points);
  data->SetPolys(cells);
  return data;
}

/// Reference library: VTK's own writers, text and binary.
template <class Writer>
void write_by_vtk(const Mesh& mesh, const fs::path& file, bool binary) {
  const auto data = as_vtk(mesh);
  vtkNew<Writer> writer;
  writer->SetFileName(file.c_str());
  writer->SetInputData(data);
  if constexpr (requires { writer->SetFileTypeToBinary(); }) {
    binary ? writer->SetFileTypeToBinary() : writer->SetFileTypeToASCII();
  } else {
    binary ? writer->SetDataModeToAppended() : writer->SetDataModeToAscii();
  }
  writer->Write();
}

void write_text(const fs::path& file, const std::string& text) {
  std::ofstream(file, std::ios::binary) << text;
}

/// OBJ as its definition says (from memory): v x y z, f i j k from 1; here with normals and quads.
std::string obj_of(const Mesh& mesh) {
  std::string text = "# stem\r\nvn 0 0 1\r\n";
  for (const Vec3& p : mesh.points) {
    text += "v " + std::to_string(p.x()) + " " + std::to_string(p.y()) + " " +
            std::to_string(p.z()) + "\r\n";
  }
  for (const auto& t : mesh.triangles) {
    text += "f";
    for (const int i : t) text += " " + std::to_string(i + 1) + "//1";
    text += "\r\n";
  }
  return text;
}

const Mesh& stem() {
  static const Mesh mesh = test::drawn_mesh({});
  return mesh;
}

void expect_same(const Expected<Mesh>& read) {
  ASSERT_TRUE(read.has_value()) << read.error().sentence();
  EXPECT_EQ(read->triangles.size(), stem().triangles.size());
  EXPECT_EQ(read->points.size(), stem().points.size());
  // Six digits of text: 1e-4 mm on 130 mm; the volume changes by area times that at most.
  EXPECT_NEAR(signed_volume(*read), signed_volume(stem()), 2.0);
  EXPECT_EQ(open_share(*read), 0.0);
}

TEST(ReadMesh, ReadsWhatVtkWrites) {
  const tidemark::test::Scratch folder;
  for (const bool binary : {false, true}) {
    write_by_vtk<vtkSTLWriter>(stem(), folder / "a.stl", binary);
    write_by_vtk<vtkPLYWriter>(stem(), folder / "a.ply", binary);
    write_by_vtk<vtkXMLPolyDataWriter>(stem(), folder / "a.vtp", binary);
    for (const char* name : {"a.stl", "a.ply", "a.vtp"}) {
      SCOPED_TRACE(std::string(name) + (binary ? " binary" : " text"));
      expect_same(read_mesh(folder / name));
    }
  }
}

TEST(ReadMesh, ReadsObj) {
  const tidemark::test::Scratch folder;
  write_text(folder / "a.obj", obj_of(stem()));
  expect_same(read_mesh(folder / "a.obj"));
}

TEST(ReadMesh, TurnsWhatFacesInwards) {
  Mesh inward = stem();
  for (std::size_t i = 0; i < inward.triangles.size(); i += 2) {  // half of it only: inconsistent
    std::swap(inward.triangles[i][0], inward.triangles[i][1]);
  }
  EXPECT_NEAR(signed_volume(facing_outwards(inward)), signed_volume(stem()), 1e-6);
  EXPECT_LT(signed_volume(mapped(stem(), -Eigen::Matrix3d::Identity(), Vec3::Zero())) * -1.0, 0.0);
}

TEST(ReadMesh, RefusesInOneSentence) {
  const tidemark::test::Scratch folder;
  Mesh metres = mapped(stem(), 1e-3 * Eigen::Matrix3d::Identity(), Vec3::Zero());
  Mesh open = stem();
  open.triangles.resize(open.triangles.size() / 2);
  Mesh not_finite = stem();
  not_finite.points[7].x() = std::nan("");
  write_by_vtk<vtkSTLWriter>(metres, folder / "metres.stl", true);
  write_by_vtk<vtkSTLWriter>(open, folder / "open.stl", true);
  write_by_vtk<vtkSTLWriter>(not_finite, folder / "nan.stl", true);
  write_by_vtk<vtkSTLWriter>(stem(), folder / "whole.stl", true);
  fs::copy_file(folder / "whole.stl", folder / "cut.stl");
  fs::resize_file(folder / "cut.stl", 5000);
  write_by_vtk<vtkXMLPolyDataWriter>(stem(), folder / "cut.vtp", true);
  fs::resize_file(folder / "cut.vtp", 3000);
  std::string many(84, ' ');
  many[83] = '\x7f';
  write_text(folder / "many.stl", many);
  write_text(folder / "huge.ply",
             "ply\nformat ascii 1.0\nelement vertex 99999999999\nproperty float x\nend_header\n");
  write_text(folder / "short.ply",
             "ply\nformat binary_little_endian 1.0\nelement vertex 1000000\nproperty float x\n"
             "property float y\nproperty float z\nend_header\nabc");
  write_text(folder / "wild.obj", "v 0 0 0\nv 100 0 0\nv 0 100 0\nf 1 2 99999\n");
  write_text(folder / "words.obj", "v a b c\n");
  write_text(folder / "empty.stl", "");
  write_text(folder / "not.vtp", "<html></html>");
  write_text(folder / "tall.vtp",
             "<VTKFile type=\"PolyData\"><PolyData><Piece NumberOfPoints=\"99999999999\" "
             "NumberOfPolys=\"1\"></Piece></PolyData></VTKFile>");
  write_text(folder / "stem.step", "ISO-10303-21;");
  for (const char* name : {"metres.stl", "open.stl", "nan.stl", "cut.stl", "cut.vtp", "many.stl",
                           "huge.ply", "short.ply", "wild.obj", "words.obj", "empty.stl", "not.vtp",
                           "tall.vtp", "stem.step", "missing.stl"}) {
    const auto read = read_mesh(folder / name);
    ASSERT_FALSE(read.has_value()) << name;
    EXPECT_EQ(read.error().kind, ErrorKind::kBadInput) << name;
    EXPECT_NE(read.error().sentence().find(name), std::string::npos) << name;
    EXPECT_EQ(read.error().sentence().find('\n'), std::string::npos) << name;
  }
}

/// Drawn 177 mm long, from the tip to the neck's end.
TEST(ReadMesh, NamesTheUnitInWhichItWouldBeAStem) {
  const tidemark::test::Scratch folder;
  const auto refusal = [&](double scale) {
    const fs::path file = folder / "other.stl";
    write_by_vtk<vtkSTLWriter>(mapped(stem(), scale * Eigen::Matrix3d::Identity(), Vec3::Zero()),
                               file, true);
    const auto read = read_mesh(file);
    return read ? std::string("none") : read.error().sentence();
  };
  EXPECT_NE(refusal(1e-3).find("only in metres"), std::string::npos);
  EXPECT_NE(refusal(0.1).find("only in centimetres or inches"), std::string::npos);
  EXPECT_NE(refusal(1.0 / 25.4).find("inches"), std::string::npos);
  EXPECT_NE(refusal(0.02).find("only in inches"), std::string::npos);
  EXPECT_NE(refusal(0.3).find("only in centimetres"), std::string::npos);
  EXPECT_NE(refusal(10.0).find("in any unit"), std::string::npos);
}

/// Some programs write each face twice, once for either side; it is closed all the same.
TEST(ReadMesh, TakesTrianglesThatAreStoredTwiceOnce) {
  const tidemark::test::Scratch folder;
  for (const bool turned : {false, true}) {
    Mesh twice = stem();
    for (const auto& t : stem().triangles) {
      twice.triangles.push_back(turned ? std::array{t[0], t[2], t[1]} : t);
    }
    write_by_vtk<vtkSTLWriter>(twice, folder / "twice.stl", true);
    expect_same(read_mesh(folder / "twice.stl"));
  }
}

TEST(ReadMesh, ThinsOutWhatIsFinerThanNeeded) {
  Mesh fine = stem();
  while (fine.triangles.size() < 70000) {  // each triangle into four
    Mesh finer;
    for (const auto& t : fine.triangles) {
      const auto corner = [&](int i) {
        return fine.points[static_cast<std::size_t>(t[static_cast<std::size_t>(i)])];
      };
      const int n = static_cast<int>(finer.points.size());
      for (int i = 0; i < 3; ++i) finer.points.push_back(corner(i));
      for (int i = 0; i < 3; ++i)
        finer.points.emplace_back(0.5 * (corner(i) + corner((i + 1) % 3)));
      for (const std::array<int, 3>& q : {std::array{0, 3, 5}, {3, 1, 4}, {5, 4, 2}, {3, 4, 5}}) {
        finer.triangles.push_back({n + q[0], n + q[1], n + q[2]});
      }
    }
    fine = welded(finer, 1e-5);
  }
  const tidemark::test::Scratch folder;
  write_by_vtk<vtkSTLWriter>(fine, folder / "fine.stl", true);
  const auto read = read_mesh(folder / "fine.stl");
  ASSERT_TRUE(read.has_value()) << read.error().sentence();
  EXPECT_LT(read->triangles.size(), 61000U);
  EXPECT_NEAR(signed_volume(*read) / signed_volume(stem()), 1.0, 1e-3);
}

}  // namespace
}  // namespace tidemark::surface
