/* One machine under protection: the whole pass, from the pins to the relay. Nothing of it is a certified safety device. */
#ifndef APPLICATION_H
#define APPLICATION_H

/* Power up: relay off, alarm on, the newest record back, everything sealed. */
void application_start(void);

/* Take a step when one is due; call it again and again. Returns 1 when a step was taken. */
int application_pass(void);

#endif
