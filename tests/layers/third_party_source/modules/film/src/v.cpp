#include <vtkPolyData.h>
