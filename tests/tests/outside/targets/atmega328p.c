/* The readings on an ATmega328P. */
#include "readings.h"
#include "cases.h"
#include "atmega328p.h"

int main(void)
{
    begin();
    put((int16_t)cases());
    end();
}
