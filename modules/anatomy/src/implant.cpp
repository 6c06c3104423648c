#include "tidemark/anatomy/femur.h"
