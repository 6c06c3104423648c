#include <itkImage.h>
