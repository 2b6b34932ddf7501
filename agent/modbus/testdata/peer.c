/*
 * The other end of the interoperation tests and of the comparison of speeds, on
 * another author's library (libmodbus).
 *
 *   peer tcp              serve on a free port of the loopback; prints it
 *   peer rtu DEVICE BAUD  serve unit 17 on a serial line
 *   peer client PORT      for each line "N" on standard input, read ten registers N
 *                         times and print how many nanoseconds that took
 */
#include <arpa/inet.h>
#include <errno.h>
#include <modbus.h>
#include <netinet/in.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

enum { UNIT = 17, SIZE = 4000 };

/* What register or bit a holds: the formula of the tests. */
static uint16_t truth(int a) { return (uint16_t)(UNIT * 4099 + a * 31 + 7); }

static int fail(const char *what) {
  fprintf(stderr, "%s: %s\n", what, modbus_strerror(errno));
  return 1;
}

static modbus_mapping_t *map(void) {
  modbus_mapping_t *m = modbus_mapping_new(SIZE, SIZE, SIZE, SIZE);
  for (int a = 0; m != NULL && a < SIZE; a++) {
    m->tab_bits[a] = m->tab_input_bits[a] = truth(a) & 1;
    m->tab_registers[a] = m->tab_input_registers[a] = truth(a);
  }
  return m;
}

/* Answer until the line or the connection ends; what makes no sense is thrown away. */
static void answer(modbus_t *ctx, modbus_mapping_t *m) {
  uint8_t query[MODBUS_TCP_MAX_ADU_LENGTH];
  for (;;) {
    int n = modbus_receive(ctx, query);
    if (n > 0)
      modbus_reply(ctx, query, n, m);
    else if (n < 0 && (errno == EMBBADCRC || errno == EMBBADDATA || errno == EMBBADEXC || errno == ETIMEDOUT))
      modbus_flush(ctx);
    else if (n < 0)
      return;
  }
}

static int tcp(void) {
  modbus_mapping_t *m = map();
  modbus_t *ctx = modbus_new_tcp("127.0.0.1", 0);
  int s = ctx == NULL ? -1 : modbus_tcp_listen(ctx, 1);
  struct sockaddr_in at;
  socklen_t size = sizeof at;
  if (m == NULL || s < 0 || getsockname(s, (struct sockaddr *)&at, &size) < 0)
    return fail("listen");
  printf("%d\n", ntohs(at.sin_port));
  fflush(stdout);
  for (;;) {
    if (modbus_tcp_accept(ctx, &s) < 0)
      return fail("accept");
    answer(ctx, m);
    modbus_close(ctx);
  }
}

static int rtu(const char *device, int baud) {
  modbus_mapping_t *m = map();
  modbus_t *ctx = modbus_new_rtu(device, baud, 'E', 8, 1);
  if (m == NULL || ctx == NULL || modbus_set_slave(ctx, UNIT) < 0 || modbus_connect(ctx) < 0)
    return fail(device);
  printf("ready\n");
  fflush(stdout);
  answer(ctx, m);
  return 0;
}

static int client(int port) {
  uint16_t to[10];
  char line[32];
  modbus_t *ctx = modbus_new_tcp("127.0.0.1", port);
  if (ctx == NULL || modbus_set_slave(ctx, 1) < 0 || modbus_connect(ctx) < 0)
    return fail("connect");
  printf("ready\n");
  fflush(stdout);
  while (fgets(line, sizeof line, stdin) != NULL) {
    struct timespec from, till;
    clock_gettime(CLOCK_MONOTONIC, &from);
    for (int n = atoi(line); n > 0; n--)
      if (modbus_read_registers(ctx, 100, 10, to) != 10)
        return fail("read");
    clock_gettime(CLOCK_MONOTONIC, &till);
    printf("%lld\n", (till.tv_sec - from.tv_sec) * 1000000000LL + till.tv_nsec - from.tv_nsec);
    fflush(stdout);
  }
  return 0;
}

int main(int argc, char **argv) {
  if (argc == 2 && strcmp(argv[1], "tcp") == 0)
    return tcp();
  if (argc == 4 && strcmp(argv[1], "rtu") == 0)
    return rtu(argv[2], atoi(argv[3]));
  if (argc == 3 && strcmp(argv[1], "client") == 0)
    return client(atoi(argv[2]));
  fprintf(stderr, "usage: peer tcp | rtu DEVICE BAUD | client PORT\n");
  return 2;
}
