/* The readings on a machine with standard output, lowest byte first. */
#include "readings.h"
#include "cases.h"
#include <stdio.h>

static void put(int16_t number)
{
    putchar((int)((uint16_t)number & 255u));
    putchar((int)((uint16_t)number >> 8));
}

int main(void)
{
    return (cases() != 0u) ? 0 : 1;
}
